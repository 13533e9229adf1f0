// The part's temperature where the plan asks for it, and how a value that counts otherwise than it was read is said.

import { counted, isPlausible, temperatureUncertainty, together } from "../js/counted.js";
import { parseValue } from "../js/verdict.js";
import { shown } from "./band.js";
import { ask, el, fill, keypad, typed } from "./dom.js";
import { local, t } from "./words.js";

const HOLDS = 30 * 60 * 1000; // a part out of the weld cools: after half an hour its temperature is asked again

let part = null; // { text, at } of the unit that this page shows

const known = () => (part && Date.now() - part.at < HOLDS ? part.text : null);

/** What goes with the reading: the part's temperature where it is asked; false when the question was left. */
export async function warmthFor(c, again = false) {
  if (!c.temperature) return {};
  if (again || known() === null) {
    const said = await askTemperature(c);
    if (said === null) return false;
    part = { text: said, at: Date.now() };
  }
  return { temperature: part.text };
}

/** The button that says the part's temperature and asks for it anew. */
export function partButton(c, redraw) {
  if (!c.temperature) return null;
  const text = known() === null ? t("Part temperature …") : t("Part {0} °C", local(shown(known())));
  return el("button", { type: "button", class: "big", id: "part", onclick: async () => { await warmthFor(c, true); redraw(); } }, text);
}

function askTemperature(c) {
  return ask(t("How warm is the part?"), (close) => {
    const error = el("p", { class: "typing-error banner", role: "alert", hidden: true });
    const field = el("input", { type: "text", inputmode: "none", autocomplete: "off", maxlength: "12", "data-first": true, "aria-label": t("Part temperature in °C"), value: known() ?? "" });
    const enter = () => {
      try {
        const value = parseValue(field.value, { units: ["°C"], maxDigits: 5 });
        if (isPlausible(value)) { close(value); return; }
        fill(error, t("Outside −40 to 100 °C. Let the part come nearer to room temperature and measure again."));
      } catch (problem) { fill(error, t(...problem.said)); }
      error.hidden = false;
      field.select();
    };
    const press = (key) => { if (key === "enter") enter(); else field.value = typed(field.value, key); };
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); enter(); } });
    return el("div", { class: "pin-row" },
      el("div", { class: "picks" }, el("p", {}, `${asked(c)}. ${t("It is recorded with each reading, and asked again after half an hour.")}`),
        el("label", { class: "floor-field" }, t("Part temperature in °C"), field), error),
      keypad(press),
      el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back"))));
  });
}

function asked(c) {
  const { expansion, reference, expansion_limit, thermometer } = c.temperature;
  if (expansion === null) return t("Part temperature is recorded");
  const known = expansion_limit ? `${expansion} ± ${expansion_limit}` : expansion;
  const brought = t("The reading is corrected to {0} °C with {1} µm per metre and kelvin", local(reference), local(known));
  return thermometer ? `${brought}; ${t("thermometer ± {0} °C", local(thermometer))}` : brought;
}

/** What the plan asks besides the limits, for the question: pairs of a name and a text. */
export const askedBeside = (c) => [
  c.temperature ? [t("Part temperature"), asked(c)] : null,
  c.mean ? [t("What counts"), t("the mean of {0} readings", c.readings)] : null,
];

/** The values that meet the band, by the tablet. */
export const countedOf = (c, answer) => counted(answer.values ?? [answer.value], askedOf(c), answer.temperature ?? null);

const askedOf = (c) => ({ ...(c.temperature ?? {}), decimals: c.decimals ?? 0, mean: c.mean });

/** What the part's temperature adds to the uncertainty of these values; null where nothing is stated. */
export const addedTo = (c, answer, counts) => temperatureUncertainty(counts, askedOf(c), answer.temperature ?? null);

/** The gauge's uncertainty with it. */
export const widened = (c, gauge, added) => together(gauge, added, c.decimals ?? 0);

/** The answer in words; how it came about where it counts otherwise than it was read. */
export function said(c) {
  const { given } = c;
  if (!given) return local(shown(c.answer));
  const text = (values) => local(values.map((one) => shown(one)).join(", "));
  const typedThere = text(given.values ?? [given.value]);
  const warm = given.temperature === undefined ? typedThere : t("{0} at {1} °C", typedThere, local(shown(given.temperature)));
  const added = given.temperature_uncertainty ? `; ${t("temperature uncertainty ± {0} {1}", local(given.temperature_uncertainty), c.unit_of_measure)}` : "";
  if (!given.counted) return (given.temperature === undefined ? `${warm} ${c.unit_of_measure}` : t("{0} {1} at {2} °C", typedThere, c.unit_of_measure, local(shown(given.temperature)))) + added;
  const value = `${text(given.counted)} ${c.unit_of_measure}`.trim();
  const corrected = (c.temperature?.expansion ?? null) !== null && given.temperature !== undefined;
  const at = corrected ? t("{0} at {1} °C", value, local(c.temperature.reference)) : value;
  return (c.mean ? t("mean {0}, of {1}", at, warm) : t("{0}, measured {1}", at, warm)) + added;
}
