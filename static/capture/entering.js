// From what is typed to an operation in the tablet's store: drafts, reading, the question about a wild value, the record.

import { parseValue } from "../js/verdict.js";
import { askSetup, questions } from "./acts.js";
import { el, find, tell, typed } from "./dom.js";
import { askGauge } from "./dialogs.js";
import * as outbox from "./outbox.js";
import * as store from "./store.js";
import { choices, current, draftKey, draw, gaugeFor, isFarOff, isOpen, me, note, plain, provisional, reads, readStore, seen, serial, state } from "./unit.js";
import { local, t } from "./words.js";

const SETTLED = "Two answers were given without seeing each other; measured again.";
const NOTHING = { text: "", readings: [], error: "", mode: null, doubt: null, replaces: null, notTaken: null };
const PAUSE = 300;

// ---- drafts: what is typed and not entered survives a kill 0.3 s later

let timer = null;
let pending = null;

function noteDraft() {
  const { text, readings, mode, doubt } = state;
  const empty = text === "" && readings.length === 0 && !doubt && !mode;
  const value = empty ? null : { text, readings, mode, doubt, round: plain(state.key).round };
  if (empty) state.drafts.delete(state.key);
  else state.drafts.set(state.key, value);
  pending = { key: draftKey(state.key), value };
  clearTimeout(timer);
  timer = setTimeout(saveDraft, PAUSE);
}

export function saveDraft() {
  clearTimeout(timer);
  if (!pending) return;
  const { key, value } = pending;
  pending = null;
  store.setDraft(key, value).catch(() => fail(t("This tablet does not keep what you type. Press Enter, or write it on paper.")));
}

/** Show a checkpoint, with what was typed there and not entered. */
export function stand(c) {
  saveDraft();
  const draft = state.drafts.get(c.key);
  const fits = draft && draft.round === c.round && (draft.mode || isOpen(seen(c)));
  Object.assign(state, NOTHING, { stage: c.stage, key: c.key, readings: [] });
  if (fits) Object.assign(state, { text: draft.text, readings: draft.readings, mode: draft.mode, doubt: draft.doubt });
  const lost = state.notSaved.get(c.key);
  if (lost) Object.assign(state, { text: state.text || lost.text, error: lost.message });
}

// ---- typing

export function input(text) {
  state.text = text;
  if (state.error && !state.notSaved.has(state.key)) {
    state.error = "";
    find("#typing-error")?.remove();
    find("#value")?.removeAttribute("aria-invalid");
  }
  noteDraft();
}

export function press(key) {
  if (key === "enter") { enter(); return; }
  const field = find("#value");
  field.value = typed(field.value, key);
  input(field.value);
}

function fail(sentence) {
  state.error = sentence;
  draw.work();
  find("input#value")?.select();
  return null;
}

// While a dialog asks for the gauge, a second Enter is not a second entry. Saving is not waited for: the next value may come.
let busy = false;
async function once(work) {
  if (busy) return;
  busy = true;
  let then = null;
  try {
    then = await work();
  } finally {
    busy = false;
  }
  then?.();
}

export const enter = () => once(() => entered(current(), state.text.trim()));

/** Reads what was typed. Gives what is to be done with it, or nothing when it is refused or questioned. */
async function entered(c, raw) {
  if (c.kind === "record") return raw === "" ? fail(t("Type or scan what is asked.")) : () => record({ text: raw }, raw);
  let value;
  try {
    value = parseValue(raw, { units: c.unit_of_measure ? [c.unit_of_measure] : [] });
  } catch (error) {
    return fail(t(...error.said));
  }
  if (c.kind === "count" && !/^\d{1,6}$/.test(value)) return fail(t("A count is a whole number, 0 or more."));
  if (c.setup && !(await askSetup(c))) return null;
  if (c.gauge_kinds.length && !gaugeFor(c) && !(await pickGauge())) return null;
  if (c.kind === "count") return () => record({ count: Number(value) }, raw);
  const warmth = state.warmth ? await state.warmth.warmthFor(c) : {};
  return warmth ? reading(c, value, raw, warmth) : null;
}

async function reading(c, value, raw, warmth) {
  const { doubt } = state;
  if (isFarOff(value, c.band) && doubt?.value !== value) return again({ doubt: { value, raw: doubt ? `${doubt.raw}; ${raw}` : raw } });
  if (await beyond(c, value)) return null;
  const readings = [...state.readings, { value, said: doubt ? `${doubt.raw}; ${raw}` : raw }];
  if (readings.length < c.readings) return again({ readings, doubt: null, error: "" });
  const values = readings.map((one) => one.value);
  const said = readings.map((one) => one.said).join(" | ").slice(0, 200);
  return () => record({ ...(c.readings > 1 ? { values } : { value }), ...warmth }, said);
}

// A gauge does not read beyond its range: another one is offered, and with that it is measured anew. Where none reads so
// far the value is kept and marked.
async function beyond(c, value) {
  const gauge = gaugeFor(c);
  const others = gauge && !reads(gauge, c, [value]) ? state.data.gauges.filter((one) => one.usable && c.gauge_kinds.includes(one.kind) && reads(one, c, [value])) : [];
  if (!others.length) return false;
  const taken = await pickGauge(others, t("{0} reads from {1} to {2}: this value is no reading of it. Measure with which other gauge?", gauge.number, local(gauge.range_lower ?? "–"), local(gauge.range_upper ?? "–")));
  if (taken) Object.assign(state, { text: "", readings: [] });
  noteDraft();
  fail(taken ? t("Nothing is recorded yet. Measure with {0}.", taken.number) : t("Nothing is recorded yet. Take a gauge that reads so far."));
  return true;
}

/** The field is emptied for one more value. */
function again(changes) {
  Object.assign(state, changes, { text: "" });
  noteDraft();
  draw.work();
  return null;
}

/** An attribute's answer. */
export const say = (conforms) => once(async () => {
  const c = current();
  if (c.setup && !(await askSetup(c))) return null;
  const asked = state.data.gauges.some((one) => c.gauge_kinds.includes(one.kind));
  if (asked && !gaugeFor(c) && !(await pickGauge())) return null;
  return () => record({ conforms }, conforms ? "conforms" : "does not conform");
});

// ---- recording

/** Do it when the frame that is being made has been painted. */
export const afterPaint = (work) => requestAnimationFrame(() => setTimeout(work));

function operationFor(c, answer, raw) {
  const settling = c.task === "settle";
  const again = state.mode !== null || settling;
  const now = seen(c);
  return {
    id: outbox.uuid7(), v: 1, kind: "result", serial, revision: state.data.revision.uuid, checkpoint: c.key, round: c.round,
    inspection: again ? now.inspection_seen ?? 1 : { second: 2, third: 3 }[now.task] ?? 1,
    purpose: state.mode?.purpose ?? (settling ? "correction" : "reading"),
    answer, raw, gauge: gaugeFor(c)?.number ?? null, recorded_at: new Date().toISOString(), recorded_by: me().badge,
    base: (again && (now.base ?? now.operation)) || null, reason: state.mode?.reason ?? (settling ? SETTLED : ""),
  };
}

async function record(answer, raw) {
  const c = plain(state.key);
  const typedText = state.text;
  const operation = operationFor(c, answer, raw);
  const before = [state.local.get(c.key), state.given.get(c.key)];
  const row = { operation, owner: me().badge, name: me().name, draft: draftKey(c.key), instead: state.replaces };
  const entry = { ...provisional(c, operation), saving: true, row };
  clearTimeout(timer);
  pending = null;
  state.local.set(c.key, entry);
  note(c, row);
  state.drafts.delete(c.key);
  state.notSaved.delete(c.key);
  Object.assign(state, NOTHING, { readings: [] });
  lastRecord = performance.now();
  const keeping = store.keep(row);
  draw.work(true);
  afterPaint(draw.rest); // the verdict first; what can be done beside it, the list of the stage and the foot after it
  try {
    await keeping;
  } catch (error) {
    notSaved(c, typedText || (("conforms" in answer) ? "" : raw), before, error);
    return;
  }
  await readStore(); // it is kept by now, so this reading and all that follow see it
  entry.saving = false;
  draw.where();
  outbox.soon();
}

function notSaved(c, text, [before, given], error) {
  const message = t("NOT SAVED. The tablet did not keep this entry ({0}). Enter it again, or write it on paper and use another tablet.", store.whyNot(error));
  if (before) state.local.set(c.key, before);
  else state.local.delete(c.key);
  if (given) state.given.set(c.key, given);
  else state.given.delete(c.key);
  state.notSaved.set(c.key, { text, message });
  if (state.key === c.key) Object.assign(state, { text, error: message });
  draw.all();
  if (state.key !== c.key) tell(t("Not saved"), el("p", {}, `${c.number} ${c.title}: ${text}`), el("p", {}, message));
}

// A second tap or Enter within this time belongs to the entry before, not to what it made appear.
let lastRecord = -1000;
export const justRecorded = (within = 400) => performance.now() - lastRecord < within;

// ---- again, with a reason

export async function start(purpose) {
  const c = current();
  if (purpose === "repeat" && !(await otherEyes(c))) return;
  const reason = await (await questions())?.whyAgain(purpose, c.kind);
  if (!reason || state.key !== c.key) return;
  Object.assign(state, NOTHING, { mode: { purpose, reason }, readings: [] });
  draw.work();
}

/** On a critical checkpoint the repeat takes another person or another gauge. */
async function otherEyes(c) {
  if (c.criticality !== "critical" || c.answered_by !== me().initials) return true;
  const others = state.data.gauges.filter((one) => c.gauge_kinds.includes(one.kind) && one.number !== c.gauge);
  if (others.some((one) => one.usable)) return pickGauge(others, t("Critical: measure again with another gauge. Which one?"));
  await tell(t("Another person measures again"), el("p", {}, t("This checkpoint is critical and no second gauge of its kind is in calibration. Ask a colleague to sign in and measure it again.")));
  return false;
}

/** Pick the gauge in hand; gives it, or null. */
export async function pickGauge(from = null, question = t("Which gauge is in your hand?")) {
  const c = current();
  const choice = from ?? choices(c);
  const number = await askGauge(choice, gaugeFor(c)?.number, question);
  if (!number) return null;
  const gauge = state.data.gauges.find((one) => one.number === number);
  state.inHand[gauge.kind] = number;
  store.setMeta("gauges", state.inHand).catch(() => {});
  draw.work();
  return gauge;
}

/** Enter anew what the server refused: the new entry takes its place when it is saved. */
export function correctRefused(row) {
  const c = plain(row.operation.checkpoint);
  stand(c);
  Object.assign(state, { replaces: row.operation.id, text: "text" in row.operation.answer || "value" in row.operation.answer ? row.operation.raw.split("; ").pop() : "" });
  if (!isOpen(seen(c))) state.mode = { purpose: row.operation.purpose === "repeat" ? "repeat" : "correction", reason: row.operation.reason || "The first try was refused by the server." };
  noteDraft();
  draw.all();
}
