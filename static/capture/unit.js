// One unit as this tablet knows it: what the server said, and over it what was entered here and is not in that yet.

import { compare, judge } from "../js/verdict.js";
import { shown, tone } from "./band.js";
import * as outbox from "./outbox.js";
import { borrowed, here } from "./people.js";
import * as store from "./store.js";
import { t } from "./words.js";

export const serial = decodeURIComponent(location.pathname.split("/")[2]);
const ADDRESS = `/api/v1/units/${encodeURIComponent(serial)}/bench`;
const PATIENCE = 1500; // a kept copy is shown when the server takes longer

export const state = {
  data: null, at: 0, stage: null, key: null, text: "", readings: [], error: "", mode: null, doubt: null,
  local: new Map(), given: new Map(), drafts: new Map(), notSaved: new Map(), inHand: {}, waiting: [], refused: [], replaces: null, notTaken: null, warmth: null,
};

/** What bench.js draws; entering.js calls it. Modules must not import each other in a circle: their names carry digests. */
export const draw = { all() {}, around() {}, rest() {}, work() {}, list() {}, foot() {}, where() {} };

export const stageOf = (number) => state.data.stages.find((stage) => stage.number === number);
export const inStage = () => state.data.checkpoints.filter((c) => c.stage === state.stage && c.due);
export const plain = (key) => state.data.checkpoints.find((c) => c.key === key);
export const current = () => seen(plain(state.key));
export const isOpen = (c) => ["first", "second", "third", "settle"].includes(c.task);
export const me = () => state.data.person;
export const draftKey = (key) => `${me().badge}/${serial}/${key}`;

/** A checkpoint with what this tablet entered laid over it. */
export function seen(c) {
  const mine = c && state.local.get(c.key);
  const turn = c?.second_inspection && c.task !== "settle" && state.given.has(c.key) ? turnOf(c, state.given.get(c.key)) : null;
  return mine || turn ? { ...c, ...mine, task: "done", state: "answered", ...turn } : c;
}

// Where two inspect: who is next, by what the server said and what waits here, whoever of this tablet entered it.
function turnOf(c, here) {
  const has = (n) => n in here || n in (c.stands ?? {});
  const of = (n) => provisional(c, here[n].operation);
  const owes = !has(1) ? 1 : !has(2) ? 2 : !has(3) && (c.disagree || (here[1] && here[2] && disagree(of(1), of(2)))) ? 3 : 0;
  const mine = Object.values(here).some((row) => row.owner === me().badge);
  if (owes) return { state: "open", task: mine || !c.may_inspect ? "wait" : ["first", "second", "third"][owes - 1], task_note: owes === 3 ? t("The two inspections disagree; a third inspector decides.") : t("Another inspector gives the second inspection, without seeing the first.") };
  const counts = [3, 1].find((n) => here[n]);
  if (mine) return {};
  return counts ? { ...of(counts), may_correct: false, may_repeat: false } : { task_note: t("On tablet, not sent yet. The server's verdict counts.") };
}

const plainText = (one) => String(one.outcome === "recorded" ? one.answer : "").replace(/\s/g, "").toLowerCase();
const disagree = (a, b) => a.outcome !== b.outcome || a.nearest_limit !== b.nearest_limit && tone(a.outcome) === "out" || plainText(a) !== plainText(b);

/** The identifiers of every answer that stands at a checkpoint, those on the tablet too. */
export function standing(c) {
  const known = Object.keys(c.stands ?? {}).length ? c.stands : c.operation ? { [c.inspection_seen]: c.operation } : {};
  const here = Object.entries(state.given.get(c.key) ?? {}).map(([n, row]) => [n, row.operation.id]);
  return Object.values({ ...known, ...Object.fromEntries(here) });
}

export function nextAfter(key) {
  const rows = inStage().map(seen);
  const at = rows.findIndex((c) => c.key === key);
  return [...rows.slice(at + 1), ...rows.slice(0, at)].find(isOpen) ?? null;
}

// ---- fetching and keeping

// Only a plan that asks for the part's temperature, or takes means, needs this.
async function withWarmth(unit) {
  if (unit?.data.checkpoints.some((c) => c.temperature || c.mean)) state.warmth ??= await import("./warmth.js");
  return unit;
}

/** Fetch the unit; raises SignedOut, or what went wrong. */
export async function fetchUnit() {
  const at = await store.instant();
  if (here.unlocked) await outbox.session();
  const data = await outbox.get(ADDRESS);
  if (!here.unlocked) await store.setMeta("person", data.person);
  await store.keepUnit(data.person.badge, serial, data, at);
  return withWarmth({ data, at });
}

/** The unit from the server, or from the tablet when the server is slow or away. `later(unit)` gets what comes afterwards. */
export async function firstSight(later) {
  const person = await store.holder();
  const kept = person && (await withWarmth((await store.keptUnit(person.badge, serial)) ?? (await borrowed(serial, person))));
  const fetching = fetchUnit();
  if (!kept) return fetching;
  const slow = new Promise((resolve) => { setTimeout(resolve, PATIENCE, null); });
  const quick = await Promise.race([fetching.catch(() => null), slow]);
  if (!quick) fetching.then(later).catch(() => {});
  return quick ?? kept;
}

export function take({ data, at }) {
  state.data = data;
  state.at = at;
}

// One reading after the other: one that began before an entry was kept must not end after the one that saw it.
let reading = Promise.resolve();

/** Read again what stands in the store, and lay it over the server's answers. */
export function readStore() {
  reading = reading.then(readNow, readNow);
  return reading;
}

async function readNow() {
  [state.waiting, state.refused] = await Promise.all([store.waiting(), store.refused()]);
  // Who else works on this tablet has a proof to each entry, so anybody sends it: it counts here as it will there.
  const ours = (row) => row.operation.serial === serial && (row.owner === me().badge || row.proof);
  const rows = [...await store.sentSince(state.at), ...state.waiting].filter(ours);
  const saving = [...state.local].filter(([, entry]) => entry.saving);
  state.local = new Map();
  state.given = new Map();
  for (const row of rows) {
    const c = plain(row.operation.checkpoint);
    if (!c || row.operation.round !== c.round) continue;
    note(c, row);
    const other = row.owner !== me().badge;
    if (!other || !c.second_inspection) state.local.set(c.key, { ...provisional(c, row.operation), ...confirmed(row.verdict), ...(other ? { answered_by: initials(row) } : {}) });
  }
  for (const [key, entry] of saving) { state.local.set(key, entry); note(plain(key), entry.row); }
}

const initials = (row) => here.people.find((one) => one.badge === row.owner)?.initials ?? row.owner;

/** From now on this entry stands at its checkpoint. */
export function note(c, row) {
  state.given.set(c.key, { ...state.given.get(c.key), [row.operation.inspection]: row });
}

function confirmed(verdict) {
  if (!verdict) return {};
  const said = { sent: true, provisional: false, flags: verdict.flags ?? [], report: verdict.report };
  return verdict.verdict ? { ...said, outcome: verdict.verdict, excess: verdict.excess ?? "", nearest_limit: verdict.nearest_limit ?? "" } : said;
}

// ---- what stands at once, before the server has said its word

/** The gauge in hand for a checkpoint, or the only one there is; one past its date only where no other fits and it was picked. */
export function gaugeFor(c) {
  const fitting = choices(c);
  const usable = fitting.filter((one) => one.usable);
  const inHand = (usable.length ? usable : fitting).find((one) => one.number === state.inHand[one.kind]);
  return inHand ?? (usable.length === 1 ? usable[0] : null);
}

/** The gauges of a checkpoint that read as far as its limits; all of its kinds where none does. */
export function choices(c) {
  const kinds = state.data.gauges.filter((one) => c.gauge_kinds.includes(one.kind));
  const reach = kinds.filter((one) => reads(one, c, [c.band?.lower, c.band?.upper].filter(Boolean)));
  return reach.length ? reach : kinds;
}

/** Whether a gauge reads so far; true where that is not known. As `reads` of inspections/services/rules.py. */
export function reads(gauge, c, values) {
  const { range_lower: from, range_upper: to, unit_of_measure: of } = gauge ?? {};
  if (of !== c.unit_of_measure) return true;
  const toZero = !c.band?.lower || (c.band.natural ?? []).includes("lower") || compare(c.band.lower, "0") <= 0;
  return values.every((value) => (!to || compare(toZero ? value.replace("-", "") : value, to) <= 0) && (!from || toZero || compare(from, value) <= 0));
}

/** What the answer looks like until the server has judged it. */
export function provisional(c, operation) {
  const { answer } = operation;
  const before = state.local.get(c.key);
  const read = reads(state.data.gauges.find((one) => one.number === operation.gauge), c, answer.values ?? (answer.value ? [answer.value] : []));
  const said = {
    operation: operation.id, base: operation.id, inspection_seen: operation.inspection, provisional: true, report: null, flags: [],
    flag_sentences: read ? [] : [BEYOND], may_correct: true, answered_by: me().initials, gauge: operation.gauge, value: null, excess: "", nearest_limit: "",
    repeated: operation.purpose === "repeat" || Boolean(before?.repeated) || (c.outcome && tone(c.outcome) === "out" && !c.may_repeat),
  };
  const entry = { ...said, ...verdictOn(c, operation, answer) };
  return { ...entry, may_repeat: tone(entry.outcome) === "out" && !entry.repeated };
}

const BEYOND = "The value lies outside the gauge's measuring range.";

function verdictOn(c, operation, answer) {
  if ("conforms" in answer) return { outcome: answer.conforms ? "conforms" : "does_not_conform", answer: operation.raw };
  if ("text" in answer) return { outcome: "recorded", answer: answer.text };
  if ("count" in answer) return countVerdict(c, answer.count);
  const gauge = state.data.gauges.find((one) => one.number === operation.gauge);
  const values = answer.values ?? [answer.value];
  const counts = state.warmth?.countedOf(c, answer) ?? values;
  const added = state.warmth?.addedTo(c, answer, counts) ?? undefined;
  const verdicts = counts.map((value) => ({ value, ...judged(c, value, gauge, added) }));
  const worst = verdicts.reduce((a, b) => (isWorse(b, a) ? b : a));
  const typed = values.map((one) => shown(one)).join(", ");
  const given = answer.temperature !== undefined || c.mean ? { ...answer, counted: counts.join() === values.join() ? undefined : counts, temperature_uncertainty: added } : null;
  return { outcome: worst.verdict, nearest_limit: worst.nearest_limit ?? "", excess: worst.excess, answer: `${typed} ${c.unit_of_measure}`.trim(), value: worst.value, given };
}

function isWorse(a, b) {
  const order = ["recorded", "in_band", "near_limit", "out_of_band"];
  const by = order.indexOf(a.verdict) - order.indexOf(b.verdict);
  return by > 0 || (by === 0 && compare(a.excess || "0", b.excess || "0") > 0);
}

// Every reading counts, and the guard zone is the wider of the plan's and the gauge's: as assess_values in core/checkpoints.
function judged(c, value, gauge, added) {
  if (!c.band) return { verdict: "recorded", excess: "", nearest_limit: "" };
  const own = c.rule !== "simple" && gauge?.unit_of_measure === c.unit_of_measure && gauge?.expanded_uncertainty;
  const known = added ? state.warmth.widened(c, own, added) : own;
  const wider = known && compare(known, c.band.guard ?? "0") > 0;
  return judge(value, c.band, wider ? { expandedUncertainty: known, rule: "guarded" } : {});
}

function countVerdict(c, count) {
  const over = c.count_at_most !== null && count > c.count_at_most;
  const under = c.count_at_least !== null && count < c.count_at_least;
  const by = over ? count - c.count_at_most : under ? c.count_at_least - count : 0;
  return { outcome: by ? "out_of_band" : "in_band", nearest_limit: under ? "lower" : "upper", excess: by ? String(by) : "", answer: String(count), value: String(count) };
}

/**
 * Whether a value lies so far outside that a slip is likelier than a fault: ten times, the sign, inch for mm.
 * More than three band widths outside; with one limit only, five times the limit or the other sign. It decides a question,
 * never a verdict, so binary fractions do.
 */
export function isFarOff(value, band) {
  if (!band) return false;
  const [at, lower, upper] = [value, band.lower, band.upper].map((text) => (text === null || text === undefined ? null : Number(text)));
  if (lower !== null && upper !== null) return at < lower - 3 * (upper - lower) || at > upper + 3 * (upper - lower);
  const limit = lower ?? upper;
  if (limit === null || limit === 0) return false;
  if (Math.sign(at) === -Math.sign(limit)) return true;
  return upper !== null ? Math.abs(at) > 5 * Math.abs(limit) : Math.abs(at) < Math.abs(limit) / 5;
}
