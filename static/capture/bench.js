// The bench: one checkpoint at a time, large, beside the list of its stage.

import { tone } from "./band.js";
import { ask, el, fill, find, tell } from "./dom.js";
import { askPin, dayText } from "./dialogs.js";
import { correctRefused, enter, input, justRecorded, pickGauge, press, saveDraft, say, stand, start } from "./entering.js";
import * as outbox from "./outbox.js";
import * as people from "./people.js";
import * as panels from "./panels.js";
import * as shell from "./shell.js";
import { parts, showRefused, signInAddress, when } from "./status.js";
import * as store from "./store.js";
import { current, draw, fetchUnit, firstSight, gaugeFor, inStage, isOpen, me, nextAfter, plain, readStore, seen, serial, stageOf, state, take } from "./unit.js";

// ---- beginning

const asked = new URLSearchParams(location.search);

async function load() {
  await people.begin(saveDraft);
  try {
    take(await firstSight(later));
  } catch (error) {
    if (error instanceof outbox.SignedOut) { location.assign(signInAddress()); return; }
    fill(find("#work"), el("div", { class: "banner", role: "alert" }, el("p", {}, "The unit could not be fetched."),
      el("p", {}, error.body?.message ?? "No network, or the server does not answer, and this unit was not taken along on this tablet. What you entered is kept."),
      el("p", {}, el("button", { class: "big", type: "button", onclick: load }, "Try again"))));
    return;
  }
  state.inHand = (await store.getMeta("gauges")) ?? {};
  outbox.contact.last ??= (await store.getMeta("contact")) ?? null;
  state.drafts = await store.drafts(`${me().badge}/${serial}/`);
  await readStore();
  if (state.key !== null) { draw.all(); return; }
  goTo(whereToStart());
  const refused = state.refused.find((row) => row.operation.id === asked.get("refused"));
  if (refused && plain(refused.operation.checkpoint)) correctRefused(refused);
}

async function later(unit) {
  // The kept copy was shown first, and by now another person has signed in: nothing of the former's stays on the page.
  if (unit.data.person.badge !== me().badge) { location.reload(); return; }
  take(unit);
  await readStore();
  // Another revision may have been adopted, without the checkpoint that is shown.
  if (state.key !== null && !plain(state.key)) goTo(whereToStart());
  else gently();
}

function whereToStart() {
  const { checkpoints } = state.data;
  const wanted = asked.get("checkpoint");
  const open = checkpoints.map(seen).filter((c) => c.due && isOpen(c));
  return plain(wanted) ?? open.find((c) => state.drafts.has(c.key)) ?? open.find((c) => stageOf(c.stage).may_start)
    ?? checkpoints.find((c) => c.due && ["complete", "changed_since_signed"].includes(stageOf(c.stage).state)) ?? open[0] ?? checkpoints[0];
}

function goTo(c) {
  stand(c);
  history.replaceState(null, "", `?checkpoint=${encodeURIComponent(c.key)}`);
  draw.all();
}

// ---- drawing

draw.all = () => {
  draw.work();
  draw.around();
};

draw.around = () => {
  drawHead();
  draw.list();
  draw.foot();
};

function drawHead() {
  const { unit, revision } = state.data;
  const name = unit.family_name.charAt(0).toUpperCase() + unit.family_name.slice(1);
  const c = current();
  const gauge = c.gauge_kinds.length ? gaugeFor(c) : null;
  document.title = `${serial} · qcapp`;
  find("#serial").textContent = serial;
  find("#about").textContent = `${name} · plan revision ${revision.letter}`;
  fill(find("#hand"), gauge ? "Gauge " : "", gauge ? el("strong", {}, gauge.number) : "", gauge?.due_on ? el("span", { class: "due" }, ` due ${dayText(gauge.due_on)}`) : "");
  find("#who").textContent = me().initials;
  find("#who").setAttribute("aria-label", `${me().name}, your account`);
}

const rowsDrawn = new Map();
let scrolledTo = null;

function whereOf(key) {
  if (state.notSaved.has(key)) return ["lost", "not saved"];
  if (state.drafts.has(key)) return ["typed", "typed, not entered"];
  const mine = state.local.get(key);
  if (!mine || mine.sent) return ["", ""];
  return mine.saving ? ["saving", "not saved yet"] : ["tablet", "on tablet"];
}

function rowFor(c) {
  const [css, words] = whereOf(c.key);
  const here = c.key === state.key;
  const face = [c.outcome, c.nearest_limit, c.state, css, here].join("|");
  const drawn = rowsDrawn.get(c.key);
  if (drawn?.face === face) return drawn.node;
  const node = el("li", {}, el("button", { type: "button", "aria-current": String(here), "data-key": c.key, onclick: () => goTo(c) },
    panels.markFor(c), el("span", { class: "no" }, String(c.number)), el("span", { class: "title" }, c.title),
    el("span", { class: `where ${css}` }, words ? el("span", { class: "out-of-sight" }, words) : null)));
  rowsDrawn.set(c.key, { face, node });
  return node;
}

draw.list = () => {
  const rows = inStage().map(seen);
  const stage = stageOf(state.stage);
  const done = rows.filter((c) => c.outcome);
  const bar = el("div", { class: "progress", "aria-hidden": "true" });
  for (const which of ["in", "near", "out"]) {
    const piece = el("span", { class: which });
    piece.style.width = `${(100 * done.filter((c) => tone(c.outcome) === which).length) / Math.max(rows.length, 1)}%`;
    bar.append(piece);
  }
  fill(find("#stage-now"), el("span", { class: "line" }, el("strong", {}, `${stage.number} ${stage.name}`), el("span", {}, `${done.length} of ${rows.length}`)), bar);
  const list = find("#rows");
  const focused = document.activeElement?.dataset?.key;
  const nodes = rows.map(rowFor);
  if (nodes.length !== list.children.length) list.replaceChildren(...nodes);
  else nodes.forEach((node, i) => { if (list.children[i] !== node) list.children[i].replaceWith(node); });
  if (focused) list.querySelector(`[data-key="${focused}"]`)?.focus({ preventScroll: true });
  if (scrolledTo === state.key) return;
  scrolledTo = state.key;
  list.querySelector('[aria-current="true"]')?.scrollIntoView({ block: "nearest" });
};

function banners(stage) {
  const { holds: all } = state.data;
  const holds = all.length === 0 ? [] : [el("details", { class: "banner" }, el("summary", {}, `On hold: ${all.map((hold) => hold.source).join(", ")}`),
    ...all.map((hold) => el("p", {}, `${all.length > 1 ? `${hold.source}: ` : ""}${hold.reason} Inspecting may go on; stages after ${hold.from_stage ?? stage.number} cannot be signed until it is decided.`)))];
  if (stage.may_start || !stage.blocked_by || stage.blocked_by.startsWith("On hold")) return holds;
  return [...holds, el("details", { class: "banner near" }, el("summary", {}, stage.blocked_by),
    el("p", {}, "What you record here now is kept and marked; it is no proof until the quality manager has decided."))];
}

function stageEnd(stage) {
  const rows = inStage().map(seen);
  if (rows.some(isOpen)) return null;
  const quiet = (...content) => el("div", { class: "banner quiet", id: "stage-end" }, ...content);
  if (stage.state === "signed" && !rows.some((c) => state.local.has(c.key))) {
    return quiet(el("p", {}, `Stage ${stage.number} is signed${stage.signed_by ? ` by ${stage.signed_by}` : ""}.`), onwards());
  }
  const others = rows.filter((c) => c.task === "wait" && c.kind !== "derived").length;
  if (others) return quiet(el("p", {}, `Your part of stage ${stage.number} is done. ${others} checkpoint${others > 1 ? "s wait" : " waits"} for another person.`), onwards());
  if (stage.state === "held") return quiet(el("p", {}, `Stage ${stage.number} is answered. It is on hold and cannot be signed yet.`), onwards());
  const out = rows.filter((c) => tone(c.outcome) === "out").length;
  const changed = stage.state === "changed_since_signed" ? `Stage ${stage.number} has changed since it was signed: ` : `Stage ${stage.number} is answered: `;
  return quiet(el("p", {}, `${changed}${rows.length} checkpoints, ${out || "none"} out of band.`),
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", id: "sign", onclick: signStage }, `Sign stage ${stage.number}`)));
}

function onwards() {
  const next = state.data.stages.find((stage) => stage.number > state.stage);
  const first = next && state.data.checkpoints.find((c) => c.stage === next.number && c.due);
  if (!first) return el("p", {}, "This was the last stage.");
  return el("div", { class: "answers" }, el("button", { type: "button", class: "big", onclick: () => goTo(first) }, `Go on to stage ${next.number} ${next.name}`));
}

draw.work = () => {
  const c = current();
  const stage = stageOf(state.stage);
  fill(find("#work"), stranger(), banners(stage), stageEnd(stage), panels.questionPanel(c), ...body(c, stage));
  const entry = find("input#value") ?? (justRecorded() ? find("#next, #sign") : null) ?? find("#question");
  if (!document.querySelector("dialog[open]")) entry.focus({ preventScroll: true });
  if (state.doubt || find("#conflict")) find(".entry")?.scrollIntoView({ block: "nearest" });
};

/** Somebody else has signed in on this tablet: nobody may go on under the name that this page was opened with. */
function stranger() {
  const person = outbox.contact.person;
  if (!person || person.badge === me().badge) return null;
  return el("div", { class: "banner", role: "alert", id: "stranger" }, el("p", {}, `${person.name} is signed in on this tablet now. This page was opened by ${me().name}.`),
    el("p", {}, `What ${me().name} entered is kept and goes out at the next sign-in of ${me().name}.`),
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", onclick: () => location.reload() }, `Go on as ${person.name}`)));
}

function body(c, stage) {
  if (stranger()) return [];
  if (state.mode === null && !isOpen(c)) return settled(c, stage);
  const { error, text: value } = state;
  const title = state.mode ? (state.mode.purpose === "repeat" ? "Measured again" : "Correction") : c.readings > 1 ? `Reading ${state.readings.length + 1} of ${c.readings}` : "Reading";
  const gauge = { gauge: gaugeFor(c), onGauge: () => pickGauge() };
  const conflict = c.task === "settle" && !state.mode ? panels.conflictPanel(c) : null;
  if (c.kind === "attribute") return [conflict, panels.attributeEntry(c, { answer: say, error, ...gauge })];
  if (c.kind === "record") return [conflict, panels.recordEntry(c, { title: state.mode ? title : "Record", value, error, onInput: input, onEnter: enter })];
  return [conflict, state.doubt ? panels.doubtPanel(c, state.doubt) : null, panels.numberEntry(c, {
    title, taken: state.readings.map((one) => one.value), ...gauge, onInput: input, onKey: press, error, value,
  })];
}

function settled(c, stage) {
  if (c.outcome) {
    const following = nextAfter(c.key);
    const acts = { repeat: () => start("repeat"), correct: () => start("correction"), next: following && { label: `Next ${following.number}`, go: () => goTo(following) } };
    return [panels.verdictPanel(c, stage, acts, state.notTaken === c.key), panels.answeredPicture(c)];
  }
  if (c.kind === "derived") {
    const inputs = (c.inputs ?? []).map((key) => plain(key)).filter(Boolean);
    const open = inputs.filter((one) => !seen(one).outcome).map((one) => `${one.number} ${one.title}`);
    return [el("div", { class: "banner quiet" }, el("p", {}, open.length ? `Computed from ${inputs.map((one) => one.number).join(", ")}. Still open: ${open.join("; ")}.` : "Its inputs are answered. The value is computed when they are sent."))];
  }
  return [el("div", { class: "banner quiet" }, el("p", {}, c.task_note || "Nothing to do here now."))];
}

draw.where = () => {
  draw.list();
  draw.foot();
  const here = find("#where");
  if (here) here.textContent = panels.whereText(current());
};

draw.foot = () => {
  const due = state.data.checkpoints.filter((c) => c.due);
  const answered = due.map(seen).filter((c) => c.outcome).length;
  const unsent = [...state.local.values()].filter((entry) => !entry.sent);
  const typed = [...state.drafts.keys()].filter((key) => key !== state.key && plain(key));
  const lost = new Set(due.filter((c) => state.local.has(c.key) && !state.local.get(c.key).sent && !c.outcome).map((c) => c.key));
  fill(find("#foot"), ...parts({
    waiting: state.waiting, refused: state.refused, person: me().name, badge: me().badge, sent: answered - lost.size, saving: unsent.filter((entry) => entry.saving).length,
    lost: state.notSaved.size, typed, onTyped: () => goTo(plain(typed[0])),
    onRefused: () => showRefused(state.refused, me().badge, (row) => (row.operation.serial === serial && plain(row.operation.checkpoint)
      ? correctRefused(row) : location.assign(elsewhere(row.operation)))),
  }), shell.updateButton(mayLeave), staleness(), el("span", { class: "end" }, `Unit: ${answered} answered, ${due.length - answered} open, ${state.data.checkpoints.length - due.length} not due`));
};

const elsewhere = ({ serial: other, checkpoint, id }) => `/units/${encodeURIComponent(other)}/bench/?checkpoint=${encodeURIComponent(checkpoint)}&refused=${id}`;

function staleness() {
  const old = Date.now() - state.at > 5 * 60 * 1000 && outbox.contact.state !== "sent";
  return old ? el("span", {}, `Unit as of ${when(state.at)}`) : null;
}

function mayLeave() {
  const half = state.text !== "" || state.readings.length || state.mode || [...state.local.values()].some((entry) => entry.saving);
  if (half) tell("Enter it first", el("p", {}, "A value is half entered. Press Enter or clear it, then change to the new version."));
  return !half;
}

// ---- signing, stages

async function signStage() {
  const stage = stageOf(state.stage);
  await outbox.flush();
  if ((await store.waiting()).some((row) => row.operation.serial === serial)) {
    await tell("Not yet", el("p", {}, "Entries of this unit are still on this tablet. The stage can be signed as soon as they are sent."));
    return;
  }
  const meaning = `I sign that stage ${stage.number} ${stage.name} of ${serial} is recorded truly and completely: ${inStage().length} checkpoints. It does not say that all of them conform.`;
  const signed = await askPin(`Sign stage ${stage.number}`, meaning, "Sign", async (pin) => {
    try {
      const { ok, body: said } = await outbox.post(`/api/v1/units/${encodeURIComponent(serial)}/sign-offs`, { stage: stage.number, pin });
      return ok ? null : said.message;
    } catch (error) {
      return error instanceof outbox.SignedOut ? "You are signed out. Sign in again; nothing was signed." : "No answer from the server. Look whether the stage shows as signed before you try again.";
    }
  });
  if (signed) await refresh(0);
}

async function showStages() {
  const narrow = getComputedStyle(find("#rows")).display === "none";
  const back = (close) => el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, "Back"));
  const stages = (close) => state.data.stages.map((stage) => {
    const rows = state.data.checkpoints.filter((c) => c.stage === stage.number && c.due).map(seen);
    const words = { signed: `signed${stage.signed_by ? ` by ${stage.signed_by}` : ""}`, complete: "answered, not signed", changed_since_signed: "changed since it was signed", held: "on hold", open: stage.may_start ? "open" : "not yet" }[stage.state];
    return el("button", { type: "button", "aria-pressed": String(stage.number === state.stage), "data-first": stage.number === state.stage, disabled: rows.length === 0, onclick: () => close(rows.find(isOpen) ?? rows[0]) },
      el("strong", {}, `${stage.number} ${stage.name}${stage.hold_point ? " · hold point" : ""}`),
      el("span", {}, `${rows.filter((c) => c.outcome).length} of ${rows.length}, ${words}`));
  });
  const here = (close) => (narrow ? [el("h3", {}, "Checkpoints of this stage"), inStage().map(seen).map((c) => el("button", { type: "button", class: "row", onclick: () => close(c) }, panels.markFor(c), el("span", {}, `${c.number} ${c.title}`)))] : []);
  const chosen = await ask("Stages", (close) => el("div", { class: narrow ? "picks" : "picks two" }, ...stages(close), ...here(close).flat(), back(close)));
  if (chosen) goTo(chosen);
}

// ---- what the server says

let refreshing = null;
async function refresh(delay) {
  clearTimeout(refreshing);
  await new Promise((resolve) => { refreshing = setTimeout(resolve, delay); });
  const unit = await fetchUnit().catch(() => null);
  if (unit) await later(unit);
}

outbox.onChange(async (verdicts) => {
  if (!state.data) return;
  await readStore();
  gently();
  if (verdicts.length) refresh(400);
});

// Never redraw under somebody's fingers: an entry stays as it is while it is being typed.
function gently() {
  if (state.key === null) return;
  draw.around();
  if (!stranger() && (state.text !== "" || state.mode !== null || state.readings.length || state.doubt || state.notSaved.has(state.key))) return;
  const focused = document.activeElement?.id;
  draw.work();
  if (focused && !document.querySelector("dialog[open]")) find(`#${focused}`)?.focus({ preventScroll: true });
}

// ---- keys and taps

find("#stage-now").addEventListener("click", () => { if (state.key !== null) showStages(); });

// The second tap of a double tap, or a held Enter, must not press what the first one made appear.
for (const kind of ["click", "keydown"]) {
  find("#work").addEventListener(kind, (event) => {
    const second = kind === "click" ? event.detail > 1 : event.key === "Enter";
    if (second && justRecorded() && event.target.closest("button")) { event.preventDefault(); event.stopPropagation(); }
  }, true);
}

addEventListener("keydown", (event) => {
  if (state.key === null || document.querySelector("dialog[open]") || event.ctrlKey || event.metaKey || event.altKey) return;
  if (["ArrowDown", "ArrowUp"].includes(event.key)) {
    const rows = inStage();
    const c = rows[rows.findIndex((one) => one.key === state.key) + (event.key === "ArrowDown" ? 1 : -1)];
    if (c) { event.preventDefault(); goTo(c); }
  } else if (/^[0-9A-Za-z.,+−-]$/.test(event.key) && !["INPUT", "TEXTAREA"].includes(document.activeElement?.tagName)) {
    typedOnVerdict(event);
  }
});

// A gauge that sends its next reading while the verdict still stands: it goes to the next checkpoint, unless this one is out
// or the next one takes no typing. Then it is not taken, and the page says so.
function typedOnVerdict(event) {
  const c = current();
  if (isOpen(c) || state.mode || !c.outcome) return;
  event.preventDefault();
  const following = nextAfter(c.key);
  if (following && tone(c.outcome) !== "out" && !["attribute", "derived"].includes(following.kind)) {
    goTo(following);
    press(event.key);
    return;
  }
  state.notTaken = c.key;
  if (!find("#not-taken")) draw.work();
}

document.addEventListener("visibilitychange", () => {
  if (document.visibilityState === "hidden") saveDraft();
  else if (state.data && Date.now() - state.at > 30000) refresh(0);
});
addEventListener("pagehide", saveDraft);

load();
outbox.soon(500);
shell.begin(() => { if (state.key !== null) draw.foot(); });
