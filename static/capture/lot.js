// The sample of a lot as a grid: pieces beside checkpoints, one cell after the other down a column, and the running
// count against the numbers that accept and refuse. Entries go the same way as the bench's.

import { parseValue } from "../js/verdict.js";
import { shown, tone, word } from "./band.js";
import * as beside from "./beside.js";
import { askGauge, dayText } from "./dialogs.js";
import { el, fill, find, typed } from "./dom.js";
import * as outbox from "./outbox.js";
import * as panels from "./panels.js";
import * as people from "./people.js";
import * as shell from "./shell.js";
import { parts, showRefused, signInAddress } from "./status.js";
import * as store from "./store.js";
import { gaugeFor, isFarOff, me, provisional, state } from "./unit.js";
import { chosen, learn, limits, local, t } from "./words.js";

const code = decodeURIComponent(location.pathname.split("/")[3]);
const bench = (serial, rest) => `/units/${encodeURIComponent(serial)}/bench/?${rest}`;
let at = 0;
let here = { piece: null, key: null };
let text = "";
let error = "";
let doubt = null;
let said = null; // the verdict before, in words
let mine = new Map(); // what this tablet entered, by serial and key
let waiting = [];
let refused = [];
let besides = [];

// ---- the data

async function fetched() {
  const instant = await store.instant();
  if (people.here.unlocked) await outbox.session();
  const data = await outbox.get(`/api/v1/lots/${encodeURIComponent(code)}/grid`);
  if (!people.here.unlocked) await store.setMeta("person", data.person);
  await store.setMeta(`lot ${data.person.badge} ${code}`, { data, at: instant });
  return { data, at: instant };
}

async function load() {
  await learn(chosen(await store.getMeta("person").catch(() => null)));
  await people.begin(() => {});
  try {
    take(await fetched());
  } catch (problem) {
    if (problem instanceof outbox.SignedOut && !people.here.tablet) { location.assign(signInAddress()); return; }
    const person = await store.holder();
    const kept = person && !problem.body && (await store.getMeta(`lot ${person.badge} ${code}`));
    if (!kept) {
      fill(find("#lot"), el("div", { class: "banner", role: "alert" }, el("p", {}, problem.body?.message ?? t("No network, or the server does not answer, and this lot was not taken along on this tablet."))));
      return;
    }
    take(kept);
  }
  state.inHand = (await store.getMeta("gauges")) ?? {};
  await read();
  const first = order().find(([piece, c]) => isOpen(piece, c)) ?? order()[0];
  if (first) here = { piece: first[0], key: first[1].key };
  draw();
}

function take(unit) {
  state.data = { ...unit.data, stages: [] };
  at = unit.at;
}

async function read() {
  [waiting, refused, besides] = await Promise.all([store.waiting(), store.refused(), beside.rows().catch(() => [])]);
  const serials = new Set(state.data.pieces.map((piece) => piece.serial));
  mine = new Map();
  for (const { operation, owner, proof, verdict } of [...await store.sentSince(at), ...waiting]) {
    const c = column(operation.checkpoint);
    // With its owner's proof an entry goes out whoever is there: it counts here as it will there.
    if (!c || (owner !== me().badge && !proof) || !serials.has(operation.serial)) continue;
    const entry = provisional(c, operation);
    mine.set(`${operation.serial} ${c.key}`, verdict?.verdict ? { ...entry, outcome: verdict.verdict, sent: true } : { ...entry, sent: Boolean(verdict) });
  }
}

const column = (key) => state.data.checkpoints.find((c) => c.key === key);
const columns = () => state.data.checkpoints.filter((c) => state.data.pieces.some((piece) => piece.cells[c.key].due));
const seen = (piece, c) => ({ ...piece.cells[c.key], ...mine.get(`${piece.serial} ${c.key}`) });
const isOpen = (piece, c) => { const cell = seen(piece, c); return cell.due && !cell.done && !cell.outcome && c.kind !== "derived"; };
// Down a column first: the gauge stays in the hand.
const order = () => columns().flatMap((c) => state.data.pieces.filter((piece) => piece.cells[c.key].due).map((piece) => [piece, c]));

// ---- counting

/** Where the class needs fewer pieces than were drawn, the others are inspected and not counted. */
const notCounted = (piece, c) => (state.data.classes.some((one) => one.name === c.criticality && !one.pieces.includes(piece.number)) ? t("not counted for {0}", t(c.criticality)) : "");

/** Nonconforming pieces of each class among those that count for it, and what that means so far. */
function counts() {
  const fails = (piece, name) => columns().some((c) => c.criticality === name && tone(seen(piece, c).outcome) === "out");
  const rows = state.data.classes.map(({ name, pieces, accept, reject }) => {
    const among = state.data.pieces.filter((piece) => pieces.includes(piece.number));
    const done = among.every((piece) => !columns().some((c) => c.criticality === name && isOpen(piece, c)));
    return { name, of: among.length, found: among.filter((piece) => fails(piece, name)).length, accept, reject, done };
  });
  const critical = state.data.pieces.filter((piece) => fails(piece, "critical")).length;
  return critical ? [...rows, { name: "critical", of: state.data.pieces.length, found: critical, accept: 0, reject: 1, done: true }] : rows;
}

function countLines() {
  const { sentence } = state.data.lot;
  return [...(sentence ? [el("p", { class: "count open" }, el("strong", {}, sentence))] : counts().map(countLine)), saidLine()];
}

/** The verdict of the entry before with the way back; its place is kept from the start, so that nothing moves under a finger. */
function saidLine() {
  if (!said) return el("p", { class: "banner quiet", id: "said" }, t("What you enter counts at once. It is corrected on the piece's bench."));
  return el("a", { class: `banner ${said.css}`, id: "said", href: said.href }, el("span", {}, said.text), el("u", {}, t("Correct this entry")));
}

function countLine({ name, of, found, accept, reject, done }) {
  const css = found >= reject ? "out" : done ? "in" : "open";
  const then = found >= reject ? t("refuses the lot") : done ? t("accepts the lot in this class") : t("{0} more {0?refuses|refuse} it", reject - found);
  return el("p", { class: `count ${css}`, "data-class": name }, el("strong", {}, `${t(name)}: ${t("{0} of {1} {0?does|do} not conform", found, of)}`),
    el("span", {}, `${t("accept {0}, refuse {1}", accept, reject)} · ${then}`));
}

// ---- drawing

function draw() {
  const { lot } = state.data;
  document.title = `${lot.code} · qcapp`;
  find("#code").textContent = lot.code;
  find("#about").textContent = `${lot.family_name.charAt(0).toUpperCase()}${lot.family_name.slice(1)} · ${t("{0} of {1} pieces drawn", state.data.pieces.length, lot.quantity)}`;
  find("#who").textContent = me().initials;
  fill(find("#lot"), el("section", { class: "counts", id: "counts", role: "status", "aria-label": t("Running count") }, countLines()),
    el("div", { class: "lot-work" }, el("div", { class: "lot-grid" }, table()), el("div", { class: "lot-entry" }, entry())));
  foot();
  const field = find("input#value") ?? find("#value");
  if (field && !document.querySelector("dialog[open]")) field.focus({ preventScroll: true });
  keepClear();
  find('.lot-grid [aria-current="true"]')?.scrollIntoView({ block: "nearest", inline: "nearest" });
  find(".entry, .lot-entry .answers")?.scrollIntoView({ block: "nearest" }); // the keys, where the screen is too low for everything
}

// Head and first column stay put, and no cell is scrolled to a place under them.
function keepClear() {
  const corner = find(".lot-grid th");
  if (corner) find(".lot-grid").style.scrollPadding = `${corner.offsetHeight}px 0 0 ${corner.offsetWidth}px`;
}
addEventListener("resize", keepClear);

function table() {
  const some = columns();
  return el("table", {}, el("caption", { class: "out-of-sight" }, t("Pieces and checkpoints")),
    el("thead", {}, el("tr", {}, el("th", { scope: "col" }, t("Piece")), some.map((c) => el("th", { scope: "col" }, el("span", { class: "heading" }, el("span", { class: "no" }, String(c.number)), ` ${c.title}`))))),
    el("tbody", {}, state.data.pieces.map((piece) => el("tr", {}, el("th", { scope: "row" }, String(piece.number).padStart(3, "0")), some.map((c) => el("td", {}, cell(piece, c)))))));
}

function cell(piece, c) {
  const now = seen(piece, c);
  if (!now.due) return el("span", { class: "quiet" }, "–");
  const current = piece === here.piece && c.key === here.key;
  const value = now.outcome ? (now.value === null || now.value === undefined ? word(now.outcome) : local(shown(now.value))) : t("open");
  return el("button", {
    type: "button", class: `${now.outcome ? tone(now.outcome) : "open"}${mine.has(piece.serial + " " + c.key) && !now.sent ? " unsent" : ""}`, "aria-current": String(current), "data-cell": `${piece.number} ${c.key}`,
    "aria-label": `${piece.number}, ${c.title}: ` + (now.outcome ? `${word(now.outcome)}, ${value}` : value), onclick: () => go(piece, c),
  }, panels.markFor({ ...c, ...now }), el("span", {}, value));
}

function go(piece, c) {
  Object.assign(here, { piece, key: c.key });
  text = "";
  error = "";
  doubt = null;
  said = null;
  draw();
}

function entry() {
  const { piece } = here;
  const c = piece && column(here.key);
  if (!c) return el("p", { class: "panel" }, t("Nothing to inspect."));
  const gauge = gaugeFor(c);
  const head = el("section", { class: "panel question", "aria-labelledby": "question" }, el("div", { class: "tags" }, el("span", { class: "no" }, String(c.number)), el("span", { class: `criticality ${c.criticality}` }, t(c.criticality)), el("span", {}, notCounted(piece, c))),
    el("h1", { id: "question", tabindex: "-1" }, `${t("Piece {0}", piece.number)}: ${c.title}`),
    /^(attr|rec)/.test(c.kind) ? null : el("div", { class: "given" }, el("span", {}, `${t("Limits")} `, el("strong", {}, limits(c.limits)))),
    c.instruction ? el("p", {}, c.instruction) : null, c.caution ? el("p", { class: "caution" }, t("Caution: {0}", c.caution)) : null);
  if (!isOpen(piece, c) || c.on_bench) {
    const why = c.on_bench && isOpen(piece, c) ? t("This checkpoint is answered on the piece's bench.") : t("It is answered. Correct it or measure again on the piece's bench.");
    return [head, el("div", { class: "banner quiet" }, el("p", {}, why), el("div", { class: "answers" }, el("a", { class: "big go", href: bench(piece.serial, `checkpoint=${encodeURIComponent(c.key)}`) }, t("Bench of piece {0}", piece.number))))];
  }
  const given = { gauge, onGauge: () => pick(c), error };
  if (c.kind === "attribute") return [head, panels.attributeEntry(c, { answer: (conforms) => once(() => record(c, { conforms }, conforms ? "conforms" : "does not conform")), ...given })];
  const common = { title: t("Reading"), value: text, onInput: input, ...given };
  if (c.kind === "record") return [head, panels.recordEntry(c, { ...common, title: t("Record"), onEnter: enter })];
  return [head, doubt ? panels.doubtPanel(c, doubt) : null, panels.numberEntry(c, { ...common, taken: [], onKey: press })];
}

function foot() {
  const all = order().filter(([, c]) => c.kind !== "derived"); // nobody answers those
  const open = all.filter(([piece, c]) => isOpen(piece, c)).length;
  const unsent = [...mine.values()].filter((entry) => !entry.sent).length;
  fill(find("#foot"), ...parts({
    waiting, refused, besides, person: me().name, badge: me().badge, sent: all.length - open - unsent,
    onRefused: () => showRefused(refused, me().badge, ({ operation }) => location.assign(bench(operation.serial, `checkpoint=${encodeURIComponent(operation.checkpoint)}&refused=${operation.id}`))),
  }), shell.updateButton(() => text === ""), el("span", { class: "end" }, t("Sample: {0} answered, {1} open", all.length - open, open)));
}

// ---- entering

const draft = () => `${me().badge}/${here.piece.serial}/${here.key}`;

function input(value) {
  text = value;
  error = "";
  store.setDraft(draft(), value === "" ? null : { text: value, readings: [], mode: null, doubt: null, round: seen(here.piece, column(here.key)).round }).catch(() => {});
}

function press(key) {
  if (key === "enter") { enter(); return; }
  const field = find("#value");
  field.value = typed(field.value, key);
  input(field.value);
}

let busy = false;
async function once(work) {
  if (busy) return;
  busy = true;
  try { await work(); } finally { busy = false; }
}

function fail(sentence) {
  error = sentence;
  draw();
}

const enter = () => once(async () => {
  const c = column(here.key);
  const raw = text.trim();
  if (c.kind === "record") { await (raw === "" ? fail(t("Type or scan what is asked.")) : record(c, { text: raw }, raw)); return; }
  let value;
  try {
    value = parseValue(raw, { units: c.unit_of_measure ? [c.unit_of_measure] : [] });
  } catch (problem) { fail(t(...problem.said)); return; }
  if (c.kind === "count" && !/^\d{1,6}$/.test(value)) { fail(t("A count is a whole number, 0 or more.")); return; }
  if (isFarOff(value, c.band) && doubt?.value !== value) {
    doubt = { value, raw: doubt ? `${doubt.raw}; ${raw}` : raw };
    text = "";
    draw();
    return;
  }
  await record(c, c.kind === "count" ? { count: Number(value) } : { value }, doubt ? `${doubt.raw}; ${raw}` : raw);
});

async function pick(c) {
  const number = await askGauge(state.data.gauges.filter((one) => c.gauge_kinds.includes(one.kind)), gaugeFor(c)?.number, t("Which gauge is in your hand?"));
  if (!number) return null;
  state.inHand[state.data.gauges.find((one) => one.number === number).kind] = number;
  store.setMeta("gauges", state.inHand).catch(() => {});
  draw();
  return number;
}

async function record(c, answer, raw) {
  const asked = state.data.gauges.some((one) => c.gauge_kinds.includes(one.kind));
  if (asked && !gaugeFor(c) && !(await pick(c))) return;
  const { piece } = here;
  const operation = {
    id: outbox.uuid7(), v: 1, kind: "result", serial: piece.serial, revision: state.data.revision.uuid, checkpoint: c.key, round: seen(piece, c).round, inspection: 1,
    purpose: "reading", answer, raw, gauge: gaugeFor(c)?.number ?? null, recorded_at: new Date().toISOString(), recorded_by: me().badge, base: null, reason: "",
  };
  try {
    await store.keep({ operation, owner: me().badge, name: me().name, draft: draft() });
  } catch (problem) {
    fail(t("NOT SAVED. The tablet did not keep this entry ({0}). Enter it again, or write it on paper and use another tablet.", store.whyNot(problem)));
    return;
  }
  await read();
  const now = seen(piece, c);
  const css = tone(now.outcome) === "out" ? "" : tone(now.outcome) === "near" ? "near" : "quiet";
  const value = (now.value ?? null) === null ? "" : " (" + local(`${shown(now.value)} ${c.unit_of_measure}`).trim() + ")";
  const besides = notCounted(piece, c) ? " · " + notCounted(piece, c) : "";
  const verdict = { css, href: bench(piece.serial, `checkpoint=${encodeURIComponent(c.key)}`), text: `${t("Piece {0}", piece.number)}, ${c.number}: ${word(now.outcome)}${value}${besides}` };
  const rows = order();
  const after = rows.findIndex(([one, other]) => one === piece && other === c);
  const next = [...rows.slice(after + 1), ...rows.slice(0, after)].find(([one, other]) => isOpen(one, other));
  go(...(next ?? [piece, c]));
  said = verdict;
  draw();
  outbox.soon();
}

outbox.onChange(async () => {
  if (!state.data) return;
  await read();
  // What is half typed keeps its field: only what lies around it is drawn anew.
  fill(find("#counts"), countLines());
  find(".lot-grid").replaceChildren(table());
  foot();
});
beside.follow(async () => { await read(); foot(); });
shell.begin(() => { if (state.data) foot(); });
load();
outbox.soon(500);
