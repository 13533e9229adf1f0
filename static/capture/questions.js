// Questions that are seldom asked at a checkpoint: how the part stands, and what is wrong with it.

import { askReason } from "./dialogs.js";
import { ask, el } from "./dom.js";
import { t } from "./words.js";

/** What was said, as a remark keeps it; null when the question was left. */
export function howItStands(c) {
  return ask(t("How is the part set up?"), (close) => {
    const warm = el("input", { inputmode: "decimal", maxlength: "6", autocomplete: "off" });
    const answer = (how) => el("button", { type: "button", "data-first": how === c.setup_label, onclick: () => close(how + (warm.value.trim() && `; ${warm.value.trim()} °C`)) }, el("strong", {}, t(how)));
    return el("div", { class: "picks" }, el("p", {}, t("The plan asks: {0}. It is asked once for this stage.", t(c.setup_label))),
      c.temperature ? null : el("label", { class: "floor-field" }, t("Part temperature in °C (may stay empty)"), warm),
      ["in fixture", "restrained", "free"].map(answer),
      el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back"))));
  });
}

/** Severity and title of a report; null when the question was left. */
export function whatIsWrong() {
  return ask(t("Report a nonconformance"), (close) => {
    const what = el("textarea", { rows: "2", maxlength: "160", "data-first": true });
    const level = (name, word) => el("button", { type: "button", class: "big level", onclick: () => { if (what.value.trim()) close({ severity: name, title: what.value.trim() }); else what.focus(); } }, word);
    return el("div", { class: "picks" }, el("p", {}, t("The unit goes on hold at once. Take a photo first where it helps.")),
      el("label", { class: "floor-field" }, t("What is wrong"), what),
      el("p", {}, t("How severe is it? A tap reports it.")),
      el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back")), level("minor", t("minor")), level("major", t("major")), level("critical", t("critical"))));
  });
}

const usualRepeat = {
  measured: () => [t("Dirt or a burr under the gauge"), t("Gauge slipped or sat badly"), t("Wrong spot was measured")],
  attribute: () => [t("Dirt or poor light"), t("Wrong spot was looked at"), t("Part or test was set up wrongly")],
  count: () => [t("Dirt or poor light"), t("Wrong spot was looked at"), t("Counted wrong")],
};
const usualCorrection = {
  measured: () => [t("Typed wrong"), t("Entered at the wrong checkpoint"), t("Decimal mark wrong")],
  attribute: () => [t("Wrong button"), t("Entered at the wrong checkpoint")],
};
const typedWrong = () => [t("Typed wrong"), t("Entered at the wrong checkpoint")];

/** Why it is answered once more; what is offered fits the kind of checkpoint. */
export const whyAgain = (purpose, kind) => (purpose === "repeat"
  ? askReason(t("Measure again"), t("Once per checkpoint. Both readings are kept, and the nonconformance report stays open."), (usualRepeat[kind] ?? usualRepeat.attribute)())
  : askReason(t("Correct this entry"), t("The first entry is kept beside the correction."), (usualCorrection[kind] ?? typedWrong)()));

/** Why a checkpoint cannot be answered now. */
export const whyNotNow = () => askReason(t("Cannot be checked now"), t("The checkpoint stays open; your reason shows in the overview until it is answered."),
  [t("Gauge is away"), t("Part is too warm"), t("Cannot be reached now"), t("Waits for another person")]);

/** Why a gauge is taken out of use. */
export const whatIsDoubtful = (gauge) => askReason(t("Take {0} out of use", gauge.number), t("From now on nobody measures with it, until metrology has looked at it. What it measured before stands and is looked at there."),
  [t("Dropped"), t("Looks damaged"), t("Reads differently from another gauge")]);
