// The bench: one checkpoint at a time, large, beside the list of its stage.

import * as acts from "./acts.js";
import { tone } from "./band.js";
import { ask, el, fill, find, loosely, tell } from "./dom.js";
import { dayText } from "./dialogs.js";
import { afterPaint, correctRefused, enter, input, justRecorded, pickGauge, press, saveDraft, say, stand, start } from "./entering.js";
import { holdSentence } from "./holds.js";
import * as outbox from "./outbox.js";
import * as people from "./people.js";
import * as panels from "./panels.js";
import * as shell from "./shell.js";
import { parts, showRefused, signInAddress, when } from "./status.js";
import * as store from "./store.js";
import { current, draw, fetchUnit, firstSight, gaugeFor, inStage, isOpen, me, nextAfter, plain, provisional, readStore, seen, serial, stageOf, state, take } from "./unit.js";
import { chosen, learn, t } from "./words.js";

// ---- beginning

const asked = new URLSearchParams(location.search);

async function load() {
  await learn(chosen(await store.getMeta("person").catch(() => null)));
  await people.begin(saveDraft);
  try {
    take(await firstSight(later));
  } catch (error) {
    if (error instanceof outbox.SignedOut && !people.here.tablet) { location.assign(signInAddress()); return; }
    find("#serial").textContent = serial;
    find("#stage-now").hidden = true;
    fill(find("#work"), el("div", { class: "banner", role: "alert" }, el("p", {}, t("The unit could not be fetched.")),
      el("p", {}, error.body?.message ?? t("No network, or the server does not answer, and this unit was not taken along on this tablet. What you entered is kept.")),
      el("p", {}, el("button", { class: "big", type: "button", onclick: load }, t("Try again")))));
    return;
  }
  state.inHand = (await store.getMeta("gauges")) ?? {};
  state.drafts = await store.drafts(`${me().badge}/${serial}/`);
  await readStore();
  await acts.read();
  find("#stage-now").hidden = false;
  if (state.key !== null) { draw.all(); return; }
  goTo(whereToStart());
  const refused = state.refused.find((row) => row.operation.id === asked.get("refused"));
  if (refused && plain(refused.operation.checkpoint)) correctRefused(refused);
  (globalThis.requestIdleCallback ?? setTimeout)(warmUp);
}

async function later(unit) {
  // The kept copy was shown first, and by now another person has signed in: nothing of the former's stays on the page.
  if (unit.data.person.badge !== me().badge) { location.reload(); return; }
  take(unit);
  await acts.read(true);
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
  store.setMeta(`last ${me().badge}`, { serial, key: c.key, number: c.number }).catch(() => {});
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
  document.title = `${serial}, ${t("Bench")} · qcapp`;
  find("#serial").textContent = serial;
  find("#about").textContent = `${name} · ${t("plan revision {0}", revision.letter)}`;
  fill(find("#hand"), gauge ? `${t("Gauge")} ` : "", gauge ? el("strong", {}, gauge.number) : "", gauge?.due_on ? el("span", { class: "due" }, ` ${t("due {0}", dayText(gauge.due_on))}`) : "");
  find("#to-weld").hidden = !state.data.checkpoints.some((one) => one.joint);
  find("#who").textContent = me().initials;
  find("#who").setAttribute("aria-label", t("{0}, your account", me().name));
}

const rowsDrawn = new Map();
let scrolledTo = null;

function whereOf(key) {
  if (state.notSaved.has(key)) return ["lost", t("not saved")];
  if (state.drafts.has(key)) return ["typed", t("typed, not entered")];
  const mine = state.local.get(key);
  if (!mine || mine.sent) return ["", ""];
  return mine.saving ? ["saving", t("not saved yet")] : ["tablet", t("on tablet")];
}

function rowFor(c) {
  const [css, words] = whereOf(c.key);
  const here = c.key === state.key;
  const asks = acts.wantsPhoto(c) || Boolean(acts.notNow(c));
  const face = [c.outcome, c.nearest_limit, c.state, css, here, asks].join("|");
  const drawn = rowsDrawn.get(c.key);
  if (drawn?.face === face) return drawn.node;
  const node = el("li", {}, el("button", { type: "button", "aria-current": String(here), "data-key": c.key, onclick: () => goTo(c) },
    panels.markFor(c), el("span", { class: "no" }, String(c.number)), el("span", { class: "title" }, c.title, asks ? el("small", {}, ` ${acts.wantsPhoto(c) ? t("Photo missing") : t("Not now")}`) : null),
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
  fill(find("#stage-now"), el("span", { class: "line" }, el("strong", {}, `${stage.number} ${stage.name}`), el("span", {}, t("{0} of {1}", done.length, rows.length))), stage.witness ? el("span", { class: "witness" }, `${t("Witness point")}: ${stage.witness}`) : "", bar);
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

// The same nodes as long as they say the same: nothing to lay out, and what somebody has opened stays open.
let bannersNow = {};
function banners(stage) {
  const before = state.data.stages.findLast((one) => one.number < stage.number);
  const signed = before && signedHere(before.number);
  const said = JSON.stringify([state.data.holds, stage.number, stage.may_start, stage.blocked_by, document.documentElement.lang, signed]);
  if (bannersNow.said !== said) bannersNow = { said, nodes: newBanners(stage, signed) };
  return bannersNow.nodes;
}

function newBanners(stage, signed) {
  const { holds: all } = state.data;
  const holds = all.length === 0 ? [] : [el("details", { class: "banner" }, el("summary", {}, t("On hold: {0}", all.map((hold) => hold.source).join(", "))),
    ...all.map((hold) => el("p", {}, (all.length > 1 ? hold.source + ": " : "") + holdSentence(hold))))];
  if (stage.may_start || !stage.blocked_by || signed || all.some((hold) => stage.blocked_by.includes(hold.source))) return holds;
  return [...holds, el("details", { class: "banner near" }, el("summary", {}, stage.blocked_by),
    el("p", {}, t("What you record here now is kept and marked; it is no proof until the quality manager has decided.")))];
}

function stageEnd(stage) {
  const rows = inStage().map(seen);
  if (rows.some(isOpen)) return null;
  const quiet = (...content) => el("div", { class: "banner quiet", id: "stage-end" }, ...content);
  if (stage.state === "signed" && !rows.some((c) => state.local.has(c.key))) {
    return quiet(el("p", {}, stage.signed_by ? t("Stage {0} is signed by {1}.", stage.number, stage.signed_by) : t("Stage {0} is signed.", stage.number)), onwards());
  }
  if (signedHere(stage.number)) return quiet(el("p", {}, t("Stage {0} is signed on this tablet, not yet confirmed by the server.", stage.number)), onwards());
  const others = rows.filter((c) => c.task === "wait" && c.kind !== "derived").length;
  if (others) return quiet(el("p", {}, t("Your part of stage {0} is done. {1} {1?checkpoint waits|checkpoints wait} for another person.", stage.number, others)), onwards());
  if (stage.state === "held") return quiet(el("p", {}, t("Stage {0} is answered. It is on hold and cannot be signed yet.", stage.number)), onwards());
  const out = rows.filter((c) => tone(c.outcome) === "out").length;
  const changed = stage.state === "changed_since_signed" ? t("Stage {0} has changed since it was signed:", stage.number) : t("Stage {0} is answered:", stage.number);
  return quiet(el("p", {}, `${changed} ${out ? t("{0} {0?checkpoint|checkpoints}, {1} out of band.", rows.length, out) : t("{0} {0?checkpoint, not|checkpoints, none} out of band.", rows.length)}`),
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", id: "sign", onclick: signStage }, t("Sign stage {0}", stage.number))));
}

function onwards() {
  const next = state.data.stages.find((stage) => stage.number > state.stage);
  const first = next && state.data.checkpoints.find((c) => c.stage === next.number && c.due);
  if (!first) return el("p", {}, t("This was the last stage."));
  return el("div", { class: "answers" }, el("button", { type: "button", class: "big", onclick: () => goTo(first) }, t("Go on to stage {0} {1}", next.number, next.name)));
}

// What stands already stays where it is: between Enter and the verdict nothing is built, laid out or painted twice.
function lay(node, ...children) {
  if (node.contains(document.activeElement)) document.activeElement.blur(); // while nothing has changed yet it is cheap
  const wanted = children.flat().filter(Boolean);
  wanted.forEach((child, i) => { if (node.children[i] !== child) node.insertBefore(child, node.children[i] ?? null); });
  while (node.children.length > wanted.length) node.lastElementChild.remove();
}

let question = {};
function questionOf(c) {
  const of = plain(c.key);
  const turn = ["second", "third"].includes(c.task) && c.task;
  if (question.of !== of || question.turn !== turn) question = { of, turn, node: panels.questionPanel(c) };
  return question.node;
}

let late = false; // what can be done beside the verdict is still that of before
/** The work area; with `quick` all but what can be done beside it, which `draw.rest` brings after the verdict. */
draw.work = (quick) => {
  const c = current();
  const stage = stageOf(state.stage);
  late = quick === true && !stranger();
  lay(find("#holds"), banners(stage));
  lay(find("#work"), stranger(), stageEnd(stage), questionOf(c), ...body(c, stage), stranger() ? null : (late && find("#work > .beside")) || acts.panel(c, goTo));
  // To take the focus the browser lays the whole page out, so a verdict is painted before. A field takes it at once: the next
  // key of a gauge must not fall between.
  if (justRecorded() && !find("input#value")) afterPaint(takeFocus);
  else takeFocus();
};

draw.rest = () => {
  draw.around();
  if (!late) return;
  late = false;
  find("#work > .beside")?.replaceWith(acts.panel(current(), goTo));
};

/** Before the first entry: the browser reads a script's functions when they are first used, and that is no time to do it. */
function warmUp() {
  const c = state.data.checkpoints.find((one) => one.band && one.kind === "measured");
  if (!c) return;
  const said = { ...c, outcome: "in_band", answer: "0", value: c.band.nominal ?? c.band.upper ?? c.band.lower, answered_by: "", flag_sentences: [] };
  panels.verdictPanel(said, stageOf(c.stage), {}, false);
  panels.answeredPicture(said);
  provisional(c, { id: "", answer: { value: said.value }, raw: "", gauge: null, inspection: 1, purpose: "reading" });
}

function takeFocus() {
  if (document.querySelector("dialog[open]")) return;
  // Where the tablet is slow, the verdict is painted later than a slip of the finger comes.
  const entry = find("input#value") ?? (justRecorded(4000) ? find("#next, #sign") : null) ?? find("#stage-end button") ?? find("#question");
  entry.focus({ preventScroll: true });
  find(".entry")?.scrollIntoView({ block: "nearest" }); // the keys, where the screen is too low for everything
}

/** Somebody else has signed in on this tablet: nobody may go on under the name that this page was opened with. */
function stranger() {
  const person = outbox.contact.person;
  if (!person || person.badge === me().badge) return null;
  return el("div", { class: "banner", role: "alert", id: "stranger" }, el("p", {}, t("{0} is signed in on this tablet now. This page was opened by {1}.", person.name, me().name)),
    el("p", {}, t("What {0} entered is kept and goes out at the next sign-in of {0}.", me().name)),
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", onclick: () => location.reload() }, t("Go on as {0}", person.name))));
}

function body(c, stage) {
  if (stranger()) return [];
  if (state.mode === null && !isOpen(c)) return settled(c, stage);
  const { error, text: value } = state;
  const title = state.mode ? (state.mode.purpose === "repeat" ? t("Measured again") : t("Correction")) : c.readings > 1 ? t("Reading {0} of {1}", state.readings.length + 1, c.readings) : t(c.kind === "count" ? "Count" : "Reading");
  const gauge = { gauge: gaugeFor(c), onGauge: () => pickGauge() };
  const conflict = c.task === "settle" && !state.mode ? panels.conflictPanel(c) : null;
  if (c.kind === "attribute") return [conflict, panels.attributeEntry(c, { answer: say, error, ...gauge })];
  if (c.kind === "record") return [conflict, panels.recordEntry(c, { title: state.mode ? title : t("Record"), value, error, onInput: input, onEnter: enter })];
  return [conflict, state.doubt ? panels.doubtPanel(c, state.doubt) : null, panels.numberEntry(c, {
    title, taken: state.readings.map((one) => one.value), ...gauge, onInput: input, onKey: press, error, value,
  })];
}

function settled(c, stage) {
  if (c.outcome) {
    const following = nextAfter(c.key);
    const acts = { repeat: () => start("repeat"), correct: () => start("correction"), next: following && { label: t("Next {0}", following.number), go: () => goTo(following) } };
    return [panels.verdictPanel(c, stage, acts, state.notTaken === c.key), panels.answeredPicture(c)];
  }
  if (c.kind === "derived") {
    const inputs = (c.inputs ?? []).map((key) => plain(key)).filter(Boolean);
    const open = inputs.filter((one) => !seen(one).outcome).map((one) => `${one.number} ${one.title}`);
    return [el("div", { class: "banner quiet" }, el("p", {}, open.length ? t("Computed from {0}. Still open: {1}.", inputs.map((one) => one.number).join(", "), open.join("; ")) : t("Its inputs are answered. The value is computed when they are sent.")))];
  }
  return [el("div", { class: "banner quiet" }, el("p", {}, c.task_note ? t(c.task_note) : t("Nothing to do here now.")))];
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
    waiting: state.waiting, refused: state.refused, besides: acts.waiting, person: me().name, badge: me().badge, sent: answered - lost.size, saving: unsent.filter((entry) => entry.saving).length,
    lost: state.notSaved.size, typed, onTyped: () => goTo(plain(typed[0])),
    onRefused: () => showRefused(state.refused, me().badge, (row) => (row.operation.serial === serial && plain(row.operation.checkpoint)
      ? correctRefused(row) : location.assign(elsewhere(row.operation)))),
  }), shell.updateButton(mayLeave), staleness(), el("span", { class: "end" }, t("Unit: {0} answered, {1} open, {2} not due", answered, due.length - answered, state.data.checkpoints.length - due.length)));
};

const elsewhere = ({ serial: other, checkpoint, id }) => `/units/${encodeURIComponent(other)}/bench/?checkpoint=${encodeURIComponent(checkpoint)}&refused=${id}`;

function staleness() {
  const old = Date.now() - state.at > 5 * 60 * 1000 && outbox.contact.state !== "sent";
  return old ? el("span", {}, t("Unit as of {0}", when(state.at))) : null;
}

function mayLeave() {
  const half = state.text !== "" || state.readings.length || state.mode || [...state.local.values()].some((entry) => entry.saving);
  if (half) tell(t("Enter it first"), el("p", {}, t("A value is half entered. Press Enter or clear it, then change to the new version.")));
  return !half;
}

// ---- signing, stages

// What waits here to be confirmed as signed.
const signedHere = (number) => state.waiting.some(({ operation }) => operation.kind === "sign_off" && operation.serial === serial && operation.stage === number);

async function signStage() {
  const signed = await (await import("./signing.js")).signStage(); // once a stage, so on demand as the photo
  if (!signed) return;
  await readStore();
  draw.all();
  if (!signed.offline) await refresh(0);
}

async function showStages() {
  const chosen = await (await import("./overview.js")).overview(); // as the photo: on demand, kept by the worker
  if (chosen) goTo(chosen);
}

// ---- what the server says

const QUIET = 1000; // reading a whole unit must not come between a key and its verdict
let touched = 0;
for (const kind of ["keydown", "pointerdown"]) addEventListener(kind, () => { touched = Date.now(); }, true);

let turn = 0;
async function refresh(delay) {
  turn += 1;
  const mine = turn;
  for (let tries = 0; tries === 0 || (delay && Date.now() - touched < QUIET && tries < 20); tries += 1) {
    await new Promise((resolve) => { setTimeout(resolve, delay); });
    if (mine !== turn) return;
  }
  const unit = await fetchUnit().catch(() => null);
  if (unit) await later(unit);
}

acts.follow(() => { refresh(400); });
outbox.onChange(async (verdicts) => {
  if (!state.data) return;
  await acts.read();
  await readStore();
  gently();
  if (verdicts.length) refresh(400);
});

// Never redraw under somebody's fingers: an entry stays as it is while it is being typed, a button while it is pressed.
const gently = () => loosely(redraw);
function redraw() {
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
