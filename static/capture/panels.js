// What stands on the bench page for one checkpoint: the question, the verdict, the entry.

import { mark, ruler, shown, tone, word } from "./band.js";
import { el, keypad } from "./dom.js";
import { dayText } from "./dialogs.js";
import { spotOf } from "./spot.js";
import { draw, state } from "./unit.js";
import { limits, local, t } from "./words.js";

export function markFor(checkpoint) {
  const band = checkpoint.band;
  return mark(checkpoint.outcome, {
    nearest: checkpoint.nearest_limit, kind: checkpoint.kind, conflict: checkpoint.state === "in_conflict" || checkpoint.task === "third",
    lower: !band || (band.lower !== null && !(band.natural ?? []).includes("lower")), upper: !band || band.upper !== null,
  });
}

export function questionPanel(c) {
  const given = [
    [t("Method"), c.method], [t("Limits"), /^(attr|rec)/.test(c.kind) ? "" : limits(c.limits)], [t("Set-up"), c.setup ? t(c.setup_label) : ""], [t("Drawing"), c.document], [t("Joint"), c.joint], ...(state.warmth?.askedBeside(c) ?? []),
    c.paired ? [t("{0} before", c.paired.number), c.paired.answer ? local(c.paired.answer) : t("not measured")] : null,
  ].filter((pair) => pair && pair[1]);
  return el("section", { class: "panel question", "aria-labelledby": "question" }, spotOf(c),
    el("div", { class: "tags" },
      el("span", { class: "no" }, String(c.number)),
      el("span", { class: `criticality ${c.criticality}` }, t(c.criticality)),
      c.second_inspection ? el("span", { class: c.task === "second" ? "criticality" : "" }, c.task === "second" ? t("your second inspection") : t("second inspection")) : null,
      c.task === "third" ? el("span", { class: "criticality" }, t("you decide as the third")) : null,
      c.round > 1 ? el("span", {}, t("round {0}", c.round)) : null,
      c.frequency !== "every" ? el("span", {}, t("checked {0}", t(c.frequency))) : null),
    el("h1", { tabindex: "-1", id: "question" }, c.title),
    given.length ? el("div", { class: "given" }, given.map(([name, text]) => el("span", {}, `${name} `, el("strong", {}, text)))) : null,
    c.instruction ? el("p", {}, c.instruction) : null,
    c.caution ? el("p", { class: "caution" }, t("Caution: {0}", c.caution)) : null);
}

/** Without zeros beyond the plan's decimals: a computed value carries two more. */
function trimmed(text, decimals) {
  let cut = String(text);
  while (cut.includes(".") && cut.split(".")[1].length > (decimals ?? 99) && cut.endsWith("0")) cut = cut.slice(0, -1);
  return cut.endsWith(".") ? cut.slice(0, -1) : cut;
}

function outBy(c) {
  if (c.outcome !== "out_of_band" || !c.excess) return word(c.outcome);
  const by = local(`${trimmed(c.excess, c.decimals)} ${c.unit_of_measure ?? ""}`.trim());
  return c.nearest_limit === "lower" ? t("Out of band, {0} below", by) : t("Out of band, {0} above", by);
}

function headline(c) {
  return c.kind === "attribute" ? word(c.outcome) : `${outBy(c)}: ${c.kind === "record" ? c.answer : state.warmth?.said(c) ?? local(shown(c.answer))}`;
}

function whatNext(c, stage) {
  const fails = tone(c.outcome) === "out";
  if (fails && c.report) return t("{0} is open and the unit is on hold for the stages after {1}. Go on here.", c.report, stage.number);
  if (fails) return t("A nonconformance report is opened (number follows) and the unit goes on hold for the stages after {0}. Go on here.", stage.number);
  if (c.outcome === "near_limit" && c.criticality === "critical") return t("Inside the limits, but within the guard zone. The quality manager decides before release.");
  if (c.outcome === "near_limit") return t("Inside the limits, but within the guard zone.");
  if (c.saving || c.sent || c.provisional) return "";
  if (!c.answered_by) return `${t("Recorded")}.`;
  return c.gauge ? t("By {0} with {1}.", c.answered_by, c.gauge) : t("By {0}.", c.answered_by);
}

/** Where the answer is kept: a word for each of the three states. */
export function whereText(c) {
  if (c.saving) return t("Not saved yet …");
  if (c.provisional) return t("On tablet, not sent yet. The server's verdict counts.");
  return c.sent ? t("Sent.") : "";
}

export function verdictPanel(c, stage, acts, notTaken) {
  const flags = (c.flag_sentences ?? []).length ? el("p", {}, c.flag_sentences.map((one) => t(one)).join(" ")) : null;
  return el("section", { class: `panel verdict ${tone(c.outcome)}`, "aria-label": t("Verdict") },
    markFor(c),
    el("div", { class: "says", role: "status" }, el("strong", {}, headline(c)), el("p", {}, `${whatNext(c, stage)} `, el("span", { id: "where" }, whereText(c))), flags,
      notTaken ? el("p", { id: "not-taken", role: "alert" }, t("What was typed now is not taken. Choose a button first.")) : null),
    el("div", { class: "then" },
      c.may_repeat ? el("button", { type: "button", class: "big", onclick: acts.repeat }, t("Measure again")) : null,
      c.may_correct ? el("button", { type: "button", class: "big", onclick: acts.correct }, t("Correct this entry")) : null,
      acts.next ? el("button", { type: "button", class: "big go", id: "next", onclick: acts.next.go }, acts.next.label) : null));
}

export function gaugeButton(c, gauge, onpick) {
  if (c.gauge_kinds.length === 0) return null;
  const text = gauge ? [el("strong", {}, t("Gauge {0}", gauge.number)), gauge.due_on ? ` ${t("due {0}", dayText(gauge.due_on))}` : ""] : [t("Pick the gauge in hand")];
  return el("button", { type: "button", class: "big", id: "gauge", onclick: onpick }, el("span", {}, ...text));
}

const errorLine = (error) => (error ? el("p", { class: "typing-error", id: "typing-error", role: "alert" }, error) : null);

export function numberEntry(c, { title, taken, gauge, onGauge, onInput, onKey, error, value }) {
  const field = el("input", {
    id: "value", type: "text", inputmode: "none", autocomplete: "off", spellcheck: "false", maxlength: "80", value,
    "aria-label": c.unit_of_measure ? t("{0} for {1} in {2}", title, c.title, c.unit_of_measure) : t("{0} for {1}", title, c.title),
    "aria-invalid": error ? "true" : null, "aria-describedby": error ? "typing-error" : null,
    oninput: (event) => onInput(event.target.value),
    onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); if (!event.repeat) onKey("enter"); } },
  });
  return el("div", { class: "entry" },
    el("section", { class: "panel reading", "aria-label": title },
      el("div", { class: "head" }, el("span", {}, title), state.warmth?.partButton(c, draw.work), gaugeButton(c, gauge, onGauge)),
      taken.length ? el("p", { class: "taken" }, t("So far: {0}", taken.map((one) => local(shown(one))).join("; "))) : null,
      el("div", { class: "value" }, field, el("span", { class: c.kind === "count" ? "unit word" : "unit" }, c.unit_of_measure || (c.kind === "count" ? t("found") : ""))),
      errorLine(error),
      c.band ? ruler(c.band, null, "", c.unit_of_measure) : null),
    keypad(onKey, { decimals: c.kind !== "count", sign: c.kind !== "count" }));
}

export function attributeEntry(c, { answer, error, gauge, onGauge }) {
  return el("section", { class: "panel reading", "aria-label": t("Your verdict") },
    el("div", { class: "head" }, el("span", {}, t("Your verdict")), gaugeButton(c, gauge, onGauge)),
    errorLine(error),
    el("div", { class: "answers" },
      el("button", { type: "button", class: "big answer in", id: "value", onclick: () => answer(true) }, mark("conforms", { kind: "attribute" }), el("span", {}, t("Conforms"))),
      el("button", { type: "button", class: "big answer out", onclick: () => answer(false) }, mark("does_not_conform", { kind: "attribute" }), el("span", {}, t("Does not conform")))));
}

export function recordEntry(c, { title, value, error, onInput, onEnter }) {
  const field = el("input", {
    id: "value", class: "text", type: "text", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: "200", value,
    "aria-label": c.title, "aria-invalid": error ? "true" : null, "aria-describedby": error ? "typing-error" : null,
    oninput: (event) => onInput(event.target.value),
    onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); if (!event.repeat) onEnter(); } },
  });
  return el("section", { class: "panel reading", "aria-label": title },
    el("div", { class: "head" }, el("span", {}, `${title}: ${limits(c.limits) || t("type or scan")}`)),
    el("div", { class: "value" }, field),
    errorLine(error),
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", onclick: onEnter }, t("Record"))));
}

/** The answered value over its band. */
export function answeredPicture(c) {
  if (!c.band || c.value === null || c.value === undefined) return null;
  return el("section", { class: "panel", "aria-label": t("The value in its band") }, ruler(c.band, trimmed(c.value, c.decimals), c.outcome, c.unit_of_measure));
}

/** A value far outside: said once more before it counts. */
export function doubtPanel(c, doubt) {
  return el("div", { class: "banner near", role: "alert", id: "doubt" },
    el("p", {}, t("{0} is far outside {1}. Nothing is recorded yet.", local(`${shown(doubt.value)} ${c.unit_of_measure}`), limits(c.limits))),
    el("p", {}, t("Look at the gauge and type the reading a second time. Is the decimal mark, the sign or the unit wrong? What you type now counts, and both are kept.")));
}

/** Two answers to the same question that did not know of each other. */
export function conflictPanel(c) {
  const answers = c.conflicting ?? [];
  return el("div", { class: "banner near", id: "conflict" },
    el("p", {}, t("Two answers are in conflict: they were given without seeing each other. Both are kept.")),
    answers.length ? el("ul", { class: "both" }, answers.map((one) => el("li", {}, el("strong", {}, c.kind === "attribute" ? word(one.outcome) : local(shown(one.answer))), ` ${t("by {0}", one.answered_by)}`, c.kind === "attribute" ? "" : `, ${word(one.outcome)}`))) : null,
    el("p", {}, t("Check it once more: what you enter now takes the place of both.")));
}
