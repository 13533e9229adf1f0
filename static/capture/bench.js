// The bench: one checkpoint at a time, large, beside the list of its stage.

import { parseValue, judge } from "../js/verdict.js";
import { shown, tone } from "./band.js";
import { ask, el, fill, find, tell, typed } from "./dom.js";
import { askGauge, askPin, askReason } from "./dialogs.js";
import * as outbox from "./outbox.js";
import * as panels from "./panels.js";
import * as store from "./store.js";

const USUAL_REPEAT = ["Dirt or a burr under the gauge", "Gauge slipped or sat badly", "Wrong spot was measured"];
const USUAL_CORRECTION = ["Typed wrong", "Entered at the wrong checkpoint", "Decimal mark wrong"];

const page = find("#bench");
const serial = page.dataset.serial;
const state = {
  data: null, stage: null, key: null, text: "", readings: [], error: "", mode: null,
  local: new Map(), inHand: {}, waiting: [], refused: [],
};

const stageOf = (number) => state.data.stages.find((stage) => stage.number === number);
const inStage = () => state.data.checkpoints.filter((c) => c.stage === state.stage && c.due);
const current = () => seen(state.data.checkpoints.find((c) => c.key === state.key));
const isOpen = (c) => ["first", "second", "third", "settle"].includes(c.task);

// What this tablet has entered and the server has not yet confirmed lies over what the server said.
function seen(c) {
  const mine = c && state.local.get(c.key);
  return mine ? { ...c, ...mine, task: "done", state: "answered" } : c;
}

async function load() {
  try {
    state.data = await outbox.get(`/api/v1/units/${encodeURIComponent(serial)}/bench`);
  } catch (error) {
    if (error instanceof outbox.SignedOut) { location.assign(`/sign-in/?next=${encodeURIComponent(location.pathname)}`); return; }
    fill(find("#work"), el("div", { class: "banner" }, el("p", {}, "The unit could not be fetched."),
      el("p", {}, error.body?.message ?? "No network, or the server does not answer. What you entered is kept. Try again when the network is back."),
      el("p", {}, el("button", { class: "big", type: "button", onclick: load }, "Try again"))));
    return;
  }
  state.inHand = (await store.getMeta("gauges")) ?? {};
  await restoreLocal();
  if (state.stage === null) chooseStart();
  render();
}

async function restoreLocal() {
  const rows = await store.waiting();
  state.waiting = rows;
  state.refused = await store.refused();
  const ids = new Set(rows.map((row) => row.operation.id));
  for (const [key, mine] of state.local) if (!ids.has(mine.operation)) state.local.delete(key);
  for (const { operation } of rows) {
    if (operation.serial !== serial) continue;
    const c = state.data.checkpoints.find((one) => one.key === operation.checkpoint);
    if (c && !state.local.has(c.key)) state.local.set(c.key, provisional(c, operation));
  }
}

function chooseStart() {
  const wanted = new URLSearchParams(location.search).get("checkpoint");
  const open = state.data.checkpoints.find((c) => c.key === wanted)
    ?? state.data.checkpoints.find((c) => c.due && isOpen(c) && stageOf(c.stage).may_start)
    ?? state.data.checkpoints.find((c) => c.due && isOpen(c)) ?? state.data.checkpoints[0];
  goTo(open, false);
}

function goTo(c, draw = true) {
  Object.assign(state, { stage: c.stage, key: c.key, text: "", readings: [], error: "", mode: null });
  store.getDraft(`${serial}/${c.key}`).then((draft) => {
    if (draft && state.key === c.key && state.text === "") { state.text = draft; renderWork(); }
  }).catch(() => {});
  if (draw) render();
}

function nextAfter(key) {
  const rows = inStage().map(seen);
  const at = rows.findIndex((c) => c.key === key);
  return [...rows.slice(at + 1), ...rows.slice(0, at)].find(isOpen) ?? null;
}

// ---- drawing

function render() {
  renderHead();
  renderList();
  renderWork();
  renderFoot();
}

function renderHead() {
  const { unit, revision } = state.data;
  const name = unit.family_name.charAt(0).toUpperCase() + unit.family_name.slice(1);
  find("#about").textContent = `${name} · plan revision ${revision.letter}`;
}

function renderList() {
  const rows = inStage().map(seen);
  const stage = stageOf(state.stage);
  const done = rows.filter((c) => c.outcome);
  const share = (which) => done.filter((c) => tone(c.outcome) === which).length;
  const bar = el("div", { class: "progress", "aria-hidden": "true" });
  for (const which of ["in", "near", "out"]) {
    const part = el("span", { class: which });
    part.style.width = `${(100 * share(which)) / Math.max(rows.length, 1)}%`;
    bar.append(part);
  }
  fill(find("#stage-now"), el("span", { class: "line" }, el("strong", {}, `${stage.number} ${stage.name}`), el("span", {}, `${done.length} of ${rows.length}`)), bar);
  const list = find("#rows");
  const keepAt = list.scrollTop;
  fill(list, rows.map((c) => el("li", {}, el("button", {
    type: "button", "aria-current": String(c.key === state.key), "aria-label": `${c.number} ${c.title}`, onclick: () => goTo(c),
  }, panels.markFor(c), el("span", { class: "no" }, String(c.number)), el("span", { class: "title" }, c.title),
  el("span", { class: `where ${state.local.has(c.key) ? "tablet" : ""}` })))));
  list.scrollTop = keepAt;
  list.querySelector('[aria-current="true"]')?.scrollIntoView({ block: "nearest" });
}

function banners(stage) {
  const shownBanners = [];
  for (const hold of state.data.holds) {
    shownBanners.push(el("div", { class: "banner" }, el("p", {}, `On hold: ${hold.source}`),
      el("p", {}, `${hold.reason} Inspecting may go on; stages after ${hold.from_stage ?? stage.number} cannot be signed until it is decided.`)));
  }
  if (!stage.may_start && stage.blocked_by) {
    shownBanners.push(el("div", { class: "banner near" }, el("p", {}, stage.blocked_by),
      el("p", {}, "What you record here now is kept and marked; it does not count as proof until the quality manager has decided.")));
  }
  return shownBanners;
}

function signPanel(stage) {
  const rows = inStage().map(seen);
  if (rows.some((c) => isOpen(c) || c.task === "wait") || !["complete", "changed_since_signed"].includes(stage.state) && rows.some((c) => !c.outcome)) return null;
  if (stage.state === "signed") {
    return el("div", { class: "banner quiet" }, el("p", {}, `Stage ${stage.number} is signed${stage.signed_by ? ` by ${stage.signed_by}` : ""}.`),
      el("p", {}, ...nextStageButton()));
  }
  const out = rows.filter((c) => tone(c.outcome) === "out").length;
  const head = stage.state === "changed_since_signed" ? `Stage ${stage.number} changed since it was signed.` : `Stage ${stage.number} is answered: ${rows.length} checkpoints, ${out === 0 ? "none" : out} out of band.`;
  return el("div", { class: "banner quiet" }, el("p", {}, head),
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", id: "sign", onclick: signStage }, `Sign stage ${stage.number}`)));
}

function nextStageButton() {
  const later = state.data.stages.find((stage) => stage.number > state.stage);
  if (!later) return ["This was the last stage."];
  const first = state.data.checkpoints.find((c) => c.stage === later.number && c.due);
  return first ? [el("button", { type: "button", class: "big", onclick: () => goTo(first) }, `Go on to stage ${later.number} ${later.name}`)] : [];
}

function renderWork() {
  const c = current();
  const stage = stageOf(state.stage);
  fill(find("#work"), banners(stage), signPanel(stage), panels.questionPanel(c), ...body(c, stage));
  const entry = find("#value");
  if (entry && c.kind !== "attribute") entry.focus({ preventScroll: true });
}

function body(c, stage) {
  if (state.mode === null && !isOpen(c)) return settled(c, stage);
  if (c.kind === "attribute") return [panels.attributeEntry(c, (conforms) => record({ conforms }, conforms ? "conforms" : "does not conform"))];
  if (c.kind === "record") return [panels.recordEntry(c, { value: state.text, error: state.error, onInput: input, onEnter: enter })];
  const many = c.readings > 1 ? `Reading ${state.readings.length + 1} of ${c.readings}` : "Reading";
  const title = state.mode ? (state.mode.purpose === "repeat" ? "Measured again" : "Correction") : many;
  return [panels.numberEntry(c, {
    title, gauge: gaugeFor(c), onGauge: pickGauge, onInput: input, onKey: press, error: state.error, value: state.text,
  })];
}

function settled(c, stage) {
  if (c.outcome) {
    const following = nextAfter(c.key);
    const acts = { repeat: () => start("repeat"), correct: () => start("correction"), next: following ? { label: `Next ${following.number}`, go: () => goTo(following) } : null };
    return [panels.verdictPanel(c, stage, acts), panels.answeredPicture(c)].filter(Boolean);
  }
  if (c.kind === "derived") {
    const inputs = (c.inputs ?? []).map((key) => state.data.checkpoints.find((one) => one.key === key)?.number ?? key);
    return [el("div", { class: "banner quiet" }, el("p", {}, `Computed from ${inputs.join(", ")} when they are answered.`), ...c.band ? [el("p", {}, `Limits ${c.limits}`)] : [])];
  }
  return [el("div", { class: "banner quiet" }, el("p", {}, c.task_note || "Nothing to do here now."))];
}

function renderFoot() {
  const here = state.waiting.length;
  const all = state.data.checkpoints.filter((c) => c.due).map(seen);
  const answered = all.filter((c) => c.outcome).length;
  const notDue = state.data.checkpoints.length - all.length;
  const contactText = {
    no_network: `no network${outbox.contact.last ? `, last contact ${clock(outbox.contact.last)}` : ""}`,
    signed_out: "sign in to send", others: "entries of another person wait for their sign-in",
  }[outbox.contact.state] ?? "";
  fill(find("#foot"),
    el("span", {}, el("span", { class: "spot sent" }), el("strong", {}, `Sent ${answered - [...state.local.keys()].length}`)),
    here ? el("span", {}, el("span", { class: "spot tablet" }), el("strong", {}, `On tablet ${here}`), ` since ${clock(new Date(state.waiting[0].since))}`) : null,
    state.refused.length ? el("button", { type: "button", onclick: showRefused }, `Refused ${state.refused.length}`) : null,
    contactText ? el("span", {}, contactText) : null,
    outbox.contact.state === "signed_out" ? el("a", { class: "big", href: `/sign-in/?next=${encodeURIComponent(location.pathname)}` }, "Sign in") : null,
    el("span", { class: "end" }, `Unit: ${answered} answered, ${all.length - answered} open, ${notDue} not due`));
}

const clock = (date) => date.toLocaleTimeString("en-GB", { hour: "2-digit", minute: "2-digit" });

// ---- entering

let draftTimer = null;
function input(text) {
  state.text = text;
  if (state.error) { state.error = ""; find("#typing-error")?.remove(); find("#value")?.removeAttribute("aria-invalid"); }
  clearTimeout(draftTimer);
  const key = `${serial}/${state.key}`;
  draftTimer = setTimeout(() => store.setDraft(key, text || null).catch(notSaved), 300);
}

function press(key) {
  if (key === "enter") { enter(); return; }
  const field = find("#value");
  field.value = typed(field.value, key);
  input(field.value);
}

async function enter() {
  const c = current();
  const raw = state.text.trim();
  if (c.kind === "record") {
    if (raw === "") return fail("Type or scan what is asked.");
    return record({ text: raw }, raw);
  }
  if (c.gauge_kinds.length && !gaugeFor(c) && !(await pickGauge())) return undefined;
  let value;
  try {
    value = parseValue(raw, { units: c.unit_of_measure ? [c.unit_of_measure] : [] });
  } catch (error) {
    return fail(error.message);
  }
  if (c.kind === "count") {
    if (!/^\d+$/.test(value)) return fail("A count is a whole number, 0 or more.");
    return record({ count: Number(value) }, raw);
  }
  if (c.readings > 1) {
    state.readings.push(value);
    if (state.readings.length < c.readings) { state.text = ""; renderWork(); return undefined; }
    return record({ values: [...state.readings] }, state.readings.join("; "));
  }
  return record({ value }, raw);
}

function fail(sentence) {
  state.error = sentence;
  renderWork();
  find("#value")?.select?.();
}

async function record(answer, raw) {
  const c = state.data.checkpoints.find((one) => one.key === state.key);
  const settling = c.task === "settle";
  const base = state.mode || settling ? seen(c).base ?? seen(c).operation : null;
  const inspection = state.mode || settling ? c.inspection_seen ?? 1 : { second: 2, third: 3 }[c.task] ?? 1;
  const operation = {
    id: outbox.uuid7(), v: 1, kind: "result", serial, revision: state.data.revision.uuid, checkpoint: c.key, round: c.round,
    inspection, purpose: state.mode?.purpose ?? (settling ? "correction" : "reading"), answer, raw, gauge: gaugeFor(c)?.number ?? null,
    recorded_at: new Date().toISOString(), recorded_by: state.data.person.badge, base: base ?? null,
    reason: state.mode?.reason ?? (settling ? "Two answers were given without seeing each other; measured again." : ""),
  };
  state.local.set(c.key, provisional(c, operation));
  Object.assign(state, { text: "", readings: [], error: "", mode: null });
  clearTimeout(draftTimer);
  render();
  find("#next")?.focus({ preventScroll: true });
  try {
    await store.keep(operation, state.data.person.badge);
    await store.setDraft(`${serial}/${c.key}`, null);
    state.waiting = await store.waiting();
    renderFoot();
    outbox.soon();
  } catch (error) {
    state.local.delete(c.key);
    if (state.key === c.key) state.text = raw;
    render();
    notSaved(error);
  }
}

function provisional(c, operation) {
  const { answer } = operation;
  const said = { operation: operation.id, provisional: true, report: null, flags: [], flag_sentences: [], may_repeat: false, may_correct: false, answered_by: state.data.person.initials, gauge: operation.gauge };
  if ("conforms" in answer) return { ...said, outcome: answer.conforms ? "conforms" : "does_not_conform", answer: operation.raw, value: null };
  if ("text" in answer) return { ...said, outcome: "recorded", answer: answer.text, value: null };
  if ("count" in answer) {
    const over = c.count_at_most !== null && answer.count > c.count_at_most;
    return { ...said, outcome: over ? "out_of_band" : "in_band", nearest_limit: "upper", excess: over ? String(answer.count - c.count_at_most) : "", answer: String(answer.count), value: String(answer.count) };
  }
  const gauge = state.data.gauges.find((one) => one.number === operation.gauge);
  const uncertainty = gauge?.unit_of_measure === c.unit_of_measure ? gauge?.expanded_uncertainty : null;
  const options = uncertainty ? { expandedUncertainty: uncertainty, rule: "guarded" } : {};
  const order = ["in_band", "near_limit", "out_of_band"];
  const verdicts = (answer.values ?? [answer.value]).map((value) => ({ value, ...judge(value, c.band, options) }));
  const worst = verdicts.reduce((a, b) => (order.indexOf(b.verdict) > order.indexOf(a.verdict) ? b : a));
  return { ...said, outcome: worst.verdict, nearest_limit: worst.nearest_limit ?? "", excess: worst.excess, answer: `${shown(worst.value)} ${c.unit_of_measure ?? ""}`.trim(), value: worst.value };
}

function notSaved(error) {
  tell("Not saved", el("p", {}, "The tablet could not keep the entry. The value is still in the field."),
    el("p", {}, `${error?.message ?? error} Free some space or use another tablet; until then write it on paper.`));
}

async function start(purpose) {
  const c = current();
  const reason = purpose === "repeat"
    ? await askReason("Measure again", "Once per checkpoint. Both readings are kept, and the nonconformance report stays open.", USUAL_REPEAT)
    : await askReason("Correct this entry", "The first entry is kept beside the correction.", USUAL_CORRECTION);
  if (!reason || state.key !== c.key) return;
  state.mode = { purpose, reason };
  state.text = "";
  renderWork();
}

// ---- gauges and signatures

function gaugeFor(c) {
  for (const kind of c.gauge_kinds) {
    const gauge = state.data.gauges.find((one) => one.number === state.inHand[kind] && one.usable);
    if (gauge) return gauge;
  }
  const fitting = state.data.gauges.filter((one) => c.gauge_kinds.includes(one.kind) && one.usable);
  return fitting.length === 1 ? fitting[0] : null;
}

async function pickGauge() {
  const c = current();
  const number = await askGauge(state.data.gauges.filter((gauge) => c.gauge_kinds.includes(gauge.kind)), gaugeFor(c)?.number);
  if (!number) return null;
  const gauge = state.data.gauges.find((one) => one.number === number);
  state.inHand[gauge.kind] = number;
  await store.setMeta("gauges", state.inHand);
  renderWork();
  return gauge;
}

async function signStage() {
  const stage = stageOf(state.stage);
  await outbox.flush();
  if ((await store.waiting()).length) {
    await tell("Not yet", el("p", {}, "Some entries are still on this tablet. The stage can be signed as soon as they are sent."));
    return;
  }
  const rows = inStage();
  const meaning = `I sign that stage ${stage.number} ${stage.name} of ${serial} is recorded truly and completely: ${rows.length} checkpoints. It does not say that all of them conform.`;
  const signed = await askPin(`Sign stage ${stage.number}`, meaning, "Sign", async (pin) => {
    try {
      const { ok, body } = await outbox.post(`/api/v1/units/${encodeURIComponent(serial)}/sign-offs`, { stage: stage.number, pin });
      return ok ? null : body.message;
    } catch (error) {
      return error instanceof outbox.SignedOut ? "You are signed out. Sign in again; nothing was signed." : "No network. Nothing was signed; try again.";
    }
  });
  if (signed) await load();
}

async function showStages() {
  const chosen = await ask("Stages", (close) => el("div", { class: "picks" }, state.data.stages.map((stage) => {
    const rows = state.data.checkpoints.filter((c) => c.stage === stage.number && c.due).map(seen);
    const words = { signed: `signed${stage.signed_by ? ` by ${stage.signed_by}` : ""}`, complete: "answered, not signed", changed_since_signed: "changed since it was signed", held: "on hold", open: stage.may_start ? "open" : "not yet" }[stage.state];
    return el("button", { type: "button", "aria-pressed": String(stage.number === state.stage), "data-first": stage.number === state.stage, disabled: rows.length === 0, onclick: () => close(rows.find(isOpen) ?? rows[0]) },
      el("strong", {}, `${stage.number} ${stage.name}${stage.hold_point ? " · hold point" : ""}`),
      el("span", {}, `${rows.filter((c) => c.outcome).length} of ${rows.length}, ${words}`));
  }), el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, "Back"))));
  if (chosen) goTo(chosen);
}

async function showRefused() {
  await ask("Refused by the server", (close) => el("div", { class: "picks" },
    state.refused.map(({ operation, message }) => el("div", { class: "banner" }, el("p", {}, `${operation.serial} · ${operation.checkpoint}: ${operation.raw}`), el("p", {}, message),
      el("p", {}, el("button", { type: "button", class: "big", onclick: async (event) => {
        await store.forgetRefused(operation.id);
        state.refused = await store.refused();
        event.target.closest(".banner").remove();
        renderFoot();
      } }, "Understood, take it off the list")))),
    el("div", { class: "then" }, el("button", { type: "button", class: "big go", "data-first": true, onclick: () => close(null) }, "Back"))));
}

// ---- what the server says

outbox.onChange(async (verdicts) => {
  if (!state.data) return;
  if (verdicts.length) {
    const fresh = await outbox.get(`/api/v1/units/${encodeURIComponent(serial)}/bench`).catch(() => null);
    if (fresh) state.data = fresh;
  }
  await restoreLocal();
  renderHead();
  renderList();
  renderFoot();
  // Never redraw under somebody's fingers: the entry stays as it is while it is being typed.
  if (state.text === "" && state.mode === null && state.readings.length === 0) {
    const hadFocus = document.activeElement?.id;
    renderWork();
    if (hadFocus && !document.querySelector("dialog[open]")) find(`#${hadFocus}`)?.focus({ preventScroll: true });
  }
});

find("#stage-now").addEventListener("click", showStages);
addEventListener("keydown", (event) => {
  if (document.querySelector("dialog[open]") || !["ArrowDown", "ArrowUp"].includes(event.key) || !state.data) return;
  const rows = inStage();
  const at = rows.findIndex((c) => c.key === state.key) + (event.key === "ArrowDown" ? 1 : -1);
  if (rows[at]) { event.preventDefault(); goTo(rows[at]); }
});
document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden" && state.text) store.setDraft(`${serial}/${state.key}`, state.text).catch(() => {});
});

load();
outbox.soon(500);
