// The overview: every stage with its progress, and the checkpoints of one by what is to be done about them.

import { notNow, wantsPhoto } from "./acts.js";
import { tone } from "./band.js";
import { ask, el, fill } from "./dom.js";
import { markFor } from "./panels.js";
import { isOpen, seen, state } from "./unit.js";
import { t } from "./words.js";

const IS = {
  all: () => true,
  open: (c) => !c.outcome,
  near: (c) => c.outcome === "near_limit",
  out: (c) => tone(c.outcome) === "out",
  photo: wantsPhoto,
  conflict: (c) => c.state === "in_conflict",
  waits: (c) => Boolean(notNow(c)),
};
const names = () => ({ all: t("All"), open: t("Open"), near: t("Near limit"), out: t("Out of band"), photo: t("Photo missing"), conflict: t("In conflict"), waits: t("Not now") });
const due = () => state.data.checkpoints.filter((c) => c.due).map(seen);

function stageWords(stage) {
  return {
    signed: stage.signed_by ? t("signed by {0}", stage.signed_by) : t("signed"), complete: t("answered, not signed"), changed_since_signed: t("changed since it was signed"),
    held: t("on hold"), open: stage.may_start ? t("open") : t("not yet"),
  }[stage.state];
}

function bar(rows) {
  const node = el("span", { class: "progress", "aria-hidden": "true" });
  for (const which of ["in", "near", "out"]) {
    const piece = el("span", { class: which });
    piece.style.width = `${(100 * rows.filter((c) => c.outcome && tone(c.outcome) === which).length) / Math.max(rows.length, 1)}%`;
    node.append(piece);
  }
  return node;
}

function stageRow(stage, rows, pick) {
  return el("button", { type: "button", "aria-pressed": String(stage.number === state.stage), "data-first": stage.number === state.stage, disabled: rows.length === 0, onclick: () => pick(rows.find(isOpen) ?? rows[0]) },
    el("strong", {}, `${stage.number} ${stage.name}` + (stage.hold_point ? ` · ${t("hold point")}` : "")), bar(rows),
    el("span", {}, t("{0} of {1}, {2}", rows.filter((c) => c.outcome).length, rows.length, stageWords(stage))));
}

function line(c, pick) {
  const why = [wantsPhoto(c) ? t("Photo missing") : "", notNow(c)?.text ?? "", c.state === "in_conflict" ? t("In conflict") : ""].filter(Boolean).join(" · ");
  return el("li", {}, el("button", { type: "button", class: "row", "data-key": c.key, onclick: () => pick(c) }, markFor(c), el("span", { class: "no" }, String(c.number)), el("span", {}, c.title, why ? el("small", {}, ` ${why}`) : null)));
}

function checkpoints(pick) {
  const list = el("ul", { class: "overview-list" });
  const choices = el("div", { class: "filters", role: "group", "aria-label": t("Show") });
  const show = (which) => {
    const rows = due();
    const stages = state.data.stages.map((stage) => [stage, rows.filter((c) => c.stage === stage.number && IS[which](c))]).filter(([, some]) => some.length);
    fill(choices, Object.entries(names()).map(([name, word]) => {
      const count = rows.filter(IS[name]).length;
      return count || name === which ? el("button", { type: "button", class: "big", "data-filter": name, "aria-pressed": String(name === which), onclick: () => { show(name); choices.querySelector(`[data-filter=${name}]`).focus(); } }, `${word} ${count}`) : null;
    }));
    fill(list, stages.length ? stages.flatMap(([stage, some]) => [el("li", { class: "stage-line" }, el("strong", {}, `${stage.number} ${stage.name}`)), ...some.map((c) => line(c, pick))]) : el("li", {}, t("Nothing of this kind.")));
  };
  show("all");
  return [choices, list];
}

/** Stages and checkpoints of the unit; gives the checkpoint that was picked, or null. */
export function overview() {
  return ask(t("Overview"), (close) => {
    const rows = due();
    return el("div", { class: "picks" },
      el("div", { class: "picks two" }, state.data.stages.map((stage) => stageRow(stage, rows.filter((c) => c.stage === stage.number), close))),
      el("h3", {}, t("Checkpoints")), ...checkpoints(close),
      el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back"))));
  });
}
