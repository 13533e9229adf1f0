// What stands on the bench page for one checkpoint: the question, the verdict, the entry.

import { WORDS, mark, ruler, shown, tone } from "./band.js";
import { el, keypad } from "./dom.js";
import { dayText } from "./dialogs.js";

export function markFor(checkpoint) {
  const band = checkpoint.band;
  return mark(checkpoint.outcome, {
    nearest: checkpoint.nearest_limit, kind: checkpoint.kind, conflict: checkpoint.state === "in_conflict",
    lower: !band || (band.lower !== null && !(band.natural ?? []).includes("lower")), upper: !band || band.upper !== null,
  });
}

export function questionPanel(c) {
  const given = [
    ["Method", c.method], ["Limits", c.limits], ["Set-up", c.setup ? c.setup_label : ""], ["Drawing", c.document], ["Joint", c.joint],
    c.paired ? [`${c.paired.number} before`, c.paired.answer ?? "not measured"] : null,
  ].filter((pair) => pair && pair[1]);
  return el("section", { class: "panel question" },
    el("div", { class: "tags" },
      el("span", { class: "no" }, String(c.number)),
      el("span", { class: `criticality ${c.criticality}` }, c.criticality),
      c.second_inspection ? el("span", {}, c.task === "second" ? "your second inspection" : "second inspection") : null,
      c.round > 1 ? el("span", {}, `round ${c.round}`) : null,
      c.frequency !== "every" ? el("span", {}, c.frequency) : null),
    el("h1", { tabindex: "-1", id: "question" }, c.title),
    el("div", { class: "given" }, given.map(([name, text]) => el("span", {}, `${name} `, el("strong", {}, text)))),
    c.instruction ? el("p", {}, c.instruction) : null,
    c.caution ? el("p", { class: "caution" }, `Caution: ${c.caution}`) : null);
}

function outBy(c) {
  if (c.outcome !== "out_of_band" || !c.excess) return WORDS[c.outcome];
  const side = c.nearest_limit === "lower" ? "below" : "above";
  return `${WORDS[c.outcome]}, ${shown(c.excess)} ${c.unit_of_measure ?? ""} ${side}`.replace("  ", " ");
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
  if (c.provisional) return "Verdict of the tablet; the server's counts.";
  return `${c.answered_by ? `By ${c.answered_by}` : "Recorded"}${c.gauge ? ` with ${c.gauge}` : ""}.`;
}

export function verdictPanel(c, stage, acts) {
  const flags = (c.flag_sentences ?? []).length ? el("p", {}, c.flag_sentences.join(" ")) : null;
  return el("section", { class: `panel verdict ${tone(c.outcome)}`, role: "status" },
    markFor(c),
    el("div", { class: "says" }, el("strong", {}, headline(c)), el("p", {}, whatNext(c, stage)), flags),
    el("div", { class: "then" },
      c.may_repeat ? el("button", { type: "button", class: "big", onclick: acts.repeat }, "Measure again") : null,
      c.may_correct ? el("button", { type: "button", class: "big", onclick: acts.correct }, "Correct this entry") : null,
      acts.next ? el("button", { type: "button", class: "big go", id: "next", onclick: acts.next.go }, acts.next.label) : null));
}

export function gaugeButton(c, gauge, onpick) {
  if (c.gauge_kinds.length === 0) return null;
  const text = gauge ? `Gauge ${gauge.number}${gauge.due_on ? `, due ${dayText(gauge.due_on)}` : ""}` : "Pick the gauge in hand";
  return el("button", { type: "button", class: "big", id: "gauge", onclick: onpick }, text);
}

export function numberEntry(c, { title, gauge, onGauge, onInput, onKey, error, value }) {
  const field = el("input", {
    id: "value", type: "text", inputmode: "none", autocomplete: "off", spellcheck: "false", maxlength: "40", value,
    "aria-label": `${title} for ${c.title}${c.unit_of_measure ? ` in ${c.unit_of_measure}` : ""}`,
    "aria-invalid": error ? "true" : null, "aria-describedby": error ? "typing-error" : null,
    oninput: (event) => onInput(event.target.value),
    onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); onKey("enter"); } },
  });
  return el("div", { class: "entry" },
    el("section", { class: "panel reading" },
      el("div", { class: "head" }, title, gaugeButton(c, gauge, onGauge)),
      el("div", { class: "value" }, field, el("span", { class: "unit" }, c.unit_of_measure ?? "")),
      error ? el("p", { class: "typing-error", id: "typing-error", role: "alert" }, error) : null,
      c.band ? ruler(c.band, null, "", c.unit_of_measure) : null),
    keypad(onKey, { decimals: c.kind !== "count", sign: c.kind !== "count" }));
}

export function attributeEntry(c, answer) {
  return el("section", { class: "panel reading" },
    el("div", { class: "head" }, "Your verdict"),
    el("div", { class: "answers" },
      el("button", { type: "button", class: "big answer in", id: "value", onclick: () => answer(true) }, mark("conforms", { kind: "attribute" }), "Conforms"),
      el("button", { type: "button", class: "big answer out", onclick: () => answer(false) }, mark("does_not_conform", { kind: "attribute" }), "Does not conform")));
}

export function recordEntry(c, { value, error, onInput, onEnter }) {
  const field = el("input", {
    id: "value", class: "text", type: "text", autocomplete: "off", autocapitalize: "characters", maxlength: "200", value,
    "aria-label": c.title, oninput: (event) => onInput(event.target.value),
    onkeydown: (event) => { if (event.key === "Enter") { event.preventDefault(); onEnter(); } },
  });
  return el("section", { class: "panel reading" },
    el("div", { class: "head" }, c.limits || "Type or scan"),
    el("div", { class: "value" }, field),
    error ? el("p", { class: "typing-error", role: "alert" }, error) : null,
    el("div", { class: "answers" }, el("button", { type: "button", class: "big go", onclick: onEnter }, "Record")));
}

/** The answered value over its band. */
export function answeredPicture(c) {
  if (!c.band || c.value === null || c.value === undefined) return null;
  return el("section", { class: "panel" }, ruler(c.band, c.value, c.outcome, c.unit_of_measure));
}
