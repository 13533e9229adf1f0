// What stands on the bench page for one checkpoint: the question, the verdict, the entry.

import { WORDS, mark, ruler, shown, tone } from "./band.js";
import { el, keypad } from "./dom.js";
import { dayText } from "./dialogs.js";
import { spotOf } from "./spot.js";

export function markFor(checkpoint) {
  const band = checkpoint.band;
  return mark(checkpoint.outcome, {
    nearest: checkpoint.nearest_limit, kind: checkpoint.kind, conflict: checkpoint.state === "in_conflict",
    lower: !band || (band.lower !== null && !(band.natural ?? []).includes("lower")), upper: !band || band.upper !== null,
  });
}

export function questionPanel(c) {
  const given = [
    ["Method", c.method], ["Limits", c.kind === "attribute" ? "" : c.limits], ["Set-up", c.setup ? c.setup_label : ""], ["Drawing", c.document], ["Joint", c.joint],
    c.paired ? [`${c.paired.number} before`, c.paired.answer ?? "not measured"] : null,
  ].filter((pair) => pair && pair[1]);
  return el("section", { class: "panel question", "aria-labelledby": "question" }, spotOf(c),
    el("div", { class: "tags" },
      el("span", { class: "no" }, String(c.number)),
      el("span", { class: `criticality ${c.criticality}` }, c.criticality),
      c.second_inspection ? el("span", { class: c.task === "second" ? "criticality" : "" }, c.task === "second" ? "your second inspection" : "second inspection") : null,
      c.task === "third" ? el("span", { class: "criticality" }, "you decide as the third") : null,
      c.round > 1 ? el("span", {}, `round ${c.round}`) : null,
      c.frequency !== "every" ? el("span", {}, `checked ${c.frequency}`) : null),
    el("h1", { tabindex: "-1", id: "question" }, c.title),
    given.length ? el("div", { class: "given" }, given.map(([name, text]) => el("span", {}, `${name} `, el("strong", {}, text)))) : null,
    c.instruction ? el("p", {}, c.instruction) : null,
    c.caution ? el("p", { class: "caution" }, `Caution: ${c.caution}`) : null);
}

/** Without zeros beyond the plan's decimals: a computed value carries two more. */
function trimmed(text, decimals) {
  let cut = String(text);
  while (cut.includes(".") && cut.split(".")[1].length > (decimals ?? 99) && cut.endsWith("0")) cut = cut.slice(0, -1);
  return cut.endsWith(".") ? cut.slice(0, -1) : cut;
}

function outBy(c) {
  if (c.outcome !== "out_of_band" || !c.excess) return WORDS[c.outcome];
  const side = c.nearest_limit === "lower" ? "below" : "above";
  return `${WORDS[c.outcome]}, ${trimmed(c.excess, c.decimals)} ${c.unit_of_measure ?? ""} ${side}`.replace("  ", " ");
}

function headline(c) {
  return c.kind === "attribute" ? WORDS[c.outcome] : `${outBy(c)}: ${shown(c.answer)}`;
}

function whatNext(c, stage) {
  const fails = tone(c.outcome) === "out";
  if (fails && c.report) return `${c.report} is open and the unit is on hold for the stages after ${stage.number}. Go on here.`;
  if (fails) return `A nonconformance report is opened (number follows) and the unit goes on hold for the stages after ${stage.number}. Go on here.`;
  if (c.outcome === "near_limit" && c.criticality === "critical") return "Inside the limits, but within the guard zone. The quality manager decides before release.";
  if (c.outcome === "near_limit") return "Inside the limits, but within the guard zone.";
  return c.saving || c.sent || c.provisional ? "" : `${c.answered_by ? `By ${c.answered_by}` : "Recorded"}${c.gauge ? ` with ${c.gauge}` : ""}.`;
}

/** Where the answer is kept: a word for each of the three states. */
export function whereText(c) {
  if (c.saving) return "Not saved yet …";
  if (c.provisional) return "On tablet, not sent yet. The server's verdict counts.";
  return c.sent ? "Sent." : "";
}

export function verdictPanel(c, stage, acts, notTaken) {
  const flags = (c.flag_sentences ?? []).length ? el("p", {}, c.flag_sentences.join(" ")) : null;
  return el("section", { class: `panel verdict ${tone(c.outcome)}`, "aria-label": "Verdict" },
    markFor(c),
    el("div", { class: "says", role: "status" }, el("strong", {}, headline(c)), el("p", {}, `${whatNext(c, stage)} `, el("span", { id: "where" }, whereText(c))), flags,
      notTaken ? el("p", { id: "not-taken", role: "alert" }, "What was typed now is not taken. Choose a button first.") : null),
    el("div", { class: "then" },
      c.may_repeat ? el("button", { type: "button", class: "big", onclick: acts.repeat }, "Measure again") : null,
      c.may_correct ? el("button", { type: "button", class: "big", onclick: acts.correct }, "Correct this entry") : null,
      acts.next ? el("button", { type: "button", class: "big go", id: "next", onclick: acts.next.go }, acts.next.label) : null));
}

export function gaugeButton(c, gauge, onpick) {
  if (c.gauge_kinds.length === 0) return null;
  const text = gauge ? [el("strong", {}, `Gauge ${gauge.number}`), gauge.due_on ? ` due ${dayText(gauge.due_on)}` : ""] : ["Pick the gauge in hand"];
  return el("button", { type: "button", class: "big", id: "gauge", onclick: onpick }, el("span", {}, ...text));
}

const errorLine = (error) => (error ? el("p", { class: "typing-error", id: "typing-error", role: "alert" }, error) : null);

export function numberEntry(c, { title, taken, gauge, onGauge, onInput, onKey, error, value }) {
  const field = el("input", {
    id: "value", type: "text", inputmode: "none", autocomplete: "off", spellcheck: "false", maxlength: "80", value,
    "aria-label": `${title} for ${c.title}${c.unit_of_measure ? ` in ${c.unit_of_measure}` : ""}`,
    "aria-invalid": error ? "true" : null, "aria-describedby": error ? "typing-error" : null,
    oninput: (event) => onInput(event.target.value),
    onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); if (!event.repeat) onKey("enter"); } },
  });
  return el("div", { class: "entry" },
    el("section", { class: "panel reading", "aria-label": title },
      el("div", { class: "head" }, el("span", {}, title), gaugeButton(c, gauge, onGauge)),
      taken.length ? el("p", { class: "taken" }, `So far: ${taken.map(shown).join(", ")}`) : null,
      el("div", { class: "value" }, field, el("span", { class: "unit" }, c.unit_of_measure || (c.kind === "count" ? "found" : ""))),
      errorLine(error),
      c.band ? ruler(c.band, null, "", c.unit_of_measure) : null),
    keypad(onKey, { decimals: c.kind !== "count", sign: c.kind !== "count" }));
}

export function attributeEntry(c, { answer, error, gauge, onGauge }) {
  return el("section", { class: "panel reading", "aria-label": "Your verdict" },
    el("div", { class: "head" }, el("span", {}, "Your verdict"), gaugeButton(c, gauge, onGauge)),
    errorLine(error),
    el("div", { class: "answers" },
      el("button", { type: "button", class: "big answer in", id: "value", onclick: () => answer(true) }, mark("conforms", { kind: "attribute" }), el("span", {}, "Conforms")),
      el("button", { type: "button", class: "big answer out", onclick: () => answer(false) }, mark("does_not_conform", { kind: "attribute" }), el("span", {}, "Does not conform"))));
}

export function recordEntry(c, { title, value, error, onInput, onEnter }) {
  const field = el("input", {
    id: "value", class: "text", type: "text", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: "200", value,
    "aria-label": c.title, "aria-invalid": error ? "true" : null, "aria-describedby": error ? "typing-error" : null,
    oninput: (event) => onInput(event.target.value),
    onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); if (!event.repeat) onEnter(); } },
  });
  return el("section", { class: "panel reading", "aria-label": title },
    el("div", { class: "head" }, el("span", {}, `${title}: ${c.limits || "type or scan"}`)),
    el("div", { class: "value" }, field),
    errorLine(error),
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", onclick: onEnter }, "Record")));
}

/** The answered value over its band. */
export function answeredPicture(c) {
  if (!c.band || c.value === null || c.value === undefined) return null;
  return el("section", { class: "panel", "aria-label": "The value in its band" }, ruler(c.band, trimmed(c.value, c.decimals), c.outcome, c.unit_of_measure));
}

/** A value far outside: said once more before it counts. */
export function doubtPanel(c, doubt) {
  return el("div", { class: "banner near", role: "alert", id: "doubt" },
    el("p", {}, `${shown(doubt.value)} ${c.unit_of_measure} is far outside ${c.limits}. Nothing is recorded yet.`),
    el("p", {}, "Look at the gauge and type the reading a second time. A tenfold, a sign, inch instead of mm? What you type now counts, and both are kept."));
}

/** Two answers to the same question that did not know of each other. */
export function conflictPanel(c) {
  const answers = c.conflicting ?? [];
  return el("div", { class: "banner near", id: "conflict" },
    el("p", {}, "Two answers are in conflict: they were given without seeing each other. Both are kept."),
    answers.length ? el("ul", { class: "both" }, answers.map((one) => el("li", {}, el("strong", {}, shown(one.answer)), ` by ${one.answered_by}, ${WORDS[one.outcome]}`))) : null,
    el("p", {}, "Measure once more: what you enter now takes the place of both."));
}
