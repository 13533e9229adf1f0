/**
 * The provisional verdict on the tablet: reading a typed value and judging it by its band, without a network.
 *
 * Twin of qcapp/core/metrology/quantities.py (parse_value, round_value), bands.py (Band) and decision.py (judge): same
 * codes, same verdicts, same digits. tests/vectors/verdict_twin.json holds both to it. The server's verdict counts.
 *
 * Numbers are BigInt scaled by their decimals, so nothing passes through a binary fraction. A value, limit or excess
 * travels as text in plain digits with a dot. Everything here is a pure function; a refusal is thrown as `Refusal`.
 */

/** A refusal with a stable code and a sentence that says what to do; `said` is that sentence with places, and what fills them. */
export class Refusal extends Error {
  constructor(code, ...said) {
    super(said[0].replace(/\{(\d)\}/g, (_, place) => said[+place + 1]));
    this.name = "Refusal";
    this.code = code;
    this.said = said;
  }
}

const MAX_TEXT = 64;
const MAX_PLACES = 40;
const BLANKS = " \t\r\n\u00a0\u2007\u2009\u202f";
const FRACTIONS = "½⅓⅔¼¾⅕⅖⅗⅘⅙⅚⅛⅜⅝⅞⁄/";
const ARITHMETIC = "0123456789+-−*^×÷()=<>±.,";
const PLAIN_NUMBER = /^-?[0-9]+(?:\.[0-9]+)?$/;
const SIDES = ["lower", "upper"];
const NO_NUMBER = "That is not a number; type digits with one decimal mark, as in 12.50.";
const RULES = ["half_even", "half_up"];

function refuse(...what) {
  throw new Refusal(...what);
}

/* ---- scaled integers: { scaled: BigInt, decimals: number } ---- */

function readPlain(text) {
  const [whole, decimals = ""] = text.split(".");
  const magnitude = BigInt(whole.replace("-", "") + decimals);
  return { scaled: text.startsWith("-") ? -magnitude : magnitude, decimals: decimals.length };
}

function writePlain({ scaled, decimals }) {
  const digits = (scaled < 0n ? -scaled : scaled).toString().padStart(decimals + 1, "0");
  const whole = digits.slice(0, digits.length - decimals);
  return (scaled < 0n ? "-" : "") + whole + (decimals ? "." + digits.slice(-decimals) : "");
}

function aligned(a, b) {
  const decimals = Math.max(a.decimals, b.decimals);
  const raise = (number) => number.scaled * 10n ** BigInt(decimals - number.decimals);
  return [raise(a), raise(b), decimals];
}

function subtract(a, b) {
  const [left, right, decimals] = aligned(a, b);
  return { scaled: left - right, decimals };
}

function isBelow(a, b) {
  const [left, right] = aligned(a, b);
  return left < right;
}

/** -1, 0 or 1: how one plain number stands to another, whatever their trailing zeros. */
export function compare(firstText, secondText) {
  const [first, second] = [firstText, secondText].map(plainValue);
  return isBelow(first, second) ? -1 : isBelow(second, first) ? 1 : 0;
}

function plainValue(text) {
  if (typeof text !== "string" || !PLAIN_NUMBER.test(text)) {
    refuse("value_not_decimal", "A verdict needs a plain decimal number; read the text with parseValue.");
  }
  return readPlain(text);
}

/* ---- reading what was typed ---- */

/**
 * The number in `text` in plain digits, with the trailing zeros that were typed.
 *
 * Options: `decimalMark` ("." or ",", null: either), `units` (suffixes that are taken off), `maxDigits`.
 */
export function parseValue(text, { decimalMark = null, units = [], maxDigits = 18 } = {}) {
  const { negative, number, suffix } = splitValue(text);
  const known = isUnit(suffix, units);
  const mark = checkNumber(number, decimalMark, suffix && !known);
  if (!known) checkSuffix(suffix, units);
  const [whole, decimals = ""] = number.split(mark);
  const leading = whole.replace(/^0+/, "");
  if (leading.length + decimals.length > maxDigits) {
    refuse("value_too_long", `The value has more than ${maxDigits} digits; type it with fewer decimals.`);
  }
  const plain = (leading || "0") + (decimals ? "." + decimals : "");
  return negative && /[1-9]/.test(plain) ? "-" + plain : plain;
}

function trimStart(text) {
  let start = 0;
  while (start < text.length && BLANKS.includes(text[start])) start += 1;
  return text.slice(start);
}

function trim(text) {
  let end = text.length;
  while (end > 0 && BLANKS.includes(text[end - 1])) end -= 1;
  return trimStart(text.slice(0, end));
}

function splitValue(text) {
  if (typeof text !== "string") {
    refuse("value_not_text", "A value travels as text, for example '12.50', so that no digit is lost.");
  }
  const trimmed = trim(text);
  if (!trimmed) refuse("value_empty", "No value was given; type the number that the gauge shows.");
  if ([...trimmed].length > MAX_TEXT) {
    refuse("value_too_long", `The text is longer than ${MAX_TEXT} characters; type the number only.`);
  }
  if ([...trimmed].some((character) => FRACTIONS.includes(character))) {
    refuse("value_fraction", "A fraction is not read; type it as a decimal, for example 0.5 for 1/2.");
  }
  const signed = "+-−".includes(trimmed[0]);
  const body = signed ? trimStart(trimmed.slice(1)) : trimmed;
  const number = body.match(/^[0-9.,]*/)[0];
  return { negative: signed && trimmed[0] !== "+", number, suffix: trimStart(body.slice(number.length)) };
}

/** `letters`: what follows is no unit, as in "62,x". */
function checkNumber(number, decimalMark, letters) {
  const marks = [...number].filter((character) => ".,".includes(character));
  if (marks.length === number.length) {
    refuse("value_not_a_number", NO_NUMBER);
  }
  if (marks.length > 1) {
    refuse("value_two_marks", "The value has more than one comma or dot; type it without marks between thousands.");
  }
  if (marks.length && decimalMark !== null && marks[0] !== decimalMark) {
    refuse("value_mark_unexpected", `The decimal mark here is '${decimalMark}'; type the value with it.`);
  }
  if (marks.length && number.endsWith(marks[0])) {
    if (letters) refuse("value_not_a_number", NO_NUMBER);
    refuse("value_unfinished", "The value ends with its decimal mark; type the decimals or leave it out.");
  }
  return marks.length ? marks[0] : ".";
}

const listed = (units) => (typeof units === "string" ? [units] : units);

function isUnit(suffix, units) {
  const sameLetters = (name) => name.replaceAll("\u03bc", "\u00b5");
  return listed(units).map(sameLetters).includes(sameLetters(suffix));
}

function checkSuffix(suffix, units) {
  if (!suffix) return;
  if (ARITHMETIC.includes(suffix[0]) || /^[eE][+\-−]?[0-9]/.test(suffix)) {
    refuse("value_not_a_number", "That is not one plain number; type digits with one decimal mark, as in 12.50.");
  }
  const names = listed(units).join(", ");
  if (names) refuse("value_unit_unexpected", "After the number stands '{0}'; type the number alone, or with {1}.", suffix, names);
  refuse("value_unit_unexpected", "After the number stands '{0}'; type the number alone.", suffix);
}

/* ---- rounding ---- */

/** Nearest multiple of `stepText`, with the decimals of the step; ties as in ISO 80000-1 Annex B, rule A or B. */
export function roundValue(valueText, stepText, { rule = "half_even" } = {}) {
  const [value, step] = [valueText, stepText].map(plainValue);
  if (step.scaled <= 0n) refuse("step_not_positive", "The rounding step must be above zero, for example 0.01.");
  if (!RULES.includes(rule)) refuse("rule_unknown", "Rounding is 'half_even' or 'half_up'.");
  const [dividend, divisor] = aligned(value, step);
  const magnitude = dividend < 0n ? -dividend : dividend;
  let multiple = magnitude / divisor;
  const twiceRest = 2n * (magnitude % divisor);
  const tieGoesUp = rule === "half_up" || multiple % 2n === 1n;
  if (twiceRest > divisor || (twiceRest === divisor && tieGoesUp)) multiple += 1n;
  return writePlain({ scaled: (dividend < 0n ? -multiple : multiple) * step.scaled, decimals: step.decimals });
}

/* ---- the band ---- */

function limit(text) {
  if (text === null || text === undefined) return null;
  if (typeof text !== "string") {
    refuse("limit_not_decimal", "Limits travel as text, for example '12.50', so that no digit is lost.");
  }
  if (text.length > MAX_TEXT || !PLAIN_NUMBER.test(text)) {
    refuse("limit_not_decimal", "A limit is written in plain digits with a decimal dot, such as 12.50.");
  }
  const number = readPlain(text);
  const size = number.scaled.toString().replace("-", "").length - number.decimals;
  if (number.decimals >= MAX_PLACES || size > MAX_PLACES) {
    refuse("limit_not_decimal", "A limit is too large or too small to be meant; check its unit.");
  }
  return number;
}

function sides(names) {
  const listed = Array.isArray(names) ? names : names === null || names === undefined ? [] : [names];
  if (!listed.every((name) => SIDES.includes(name))) {
    refuse("natural_unknown", "A natural boundary is 'lower' or 'upper'.");
  }
  return new Set(listed);
}

/** The band that Band.to_json wrote, checked by the same rules. */
function readBand(data) {
  const band = {
    lower: limit(data.lower),
    upper: limit(data.upper),
    nominal: limit(data.nominal),
    guard: limit(data.guard) ?? readPlain("0"),
    natural: sides(data.natural),
    allowOutsideNominal: data.allow_outside_nominal === true,
  };
  checkLimits(band);
  checkGuard(band);
  return band;
}

function checkLimits({ lower, upper, nominal, allowOutsideNominal }) {
  if (!lower && !upper) {
    refuse("limits_missing", "Give a lower or an upper limit; without one there is nothing to judge.");
  }
  if (lower && upper && isBelow(upper, lower)) {
    const [low, high] = [lower, upper].map(writePlain);
    refuse("limits_crossed", `The lower limit ${low} is above the upper ${high}; exchange them.`);
  }
  if (!nominal || allowOutsideNominal) return;
  if ((lower && isBelow(nominal, lower)) || (upper && isBelow(upper, nominal))) {
    const written = writePlain(nominal);
    refuse("nominal_outside", `The nominal ${written} is outside the limits; correct it, or mark it as meant so.`);
  }
}

function checkGuard({ lower, upper, guard, natural }) {
  if (guard.scaled < 0n) refuse("guard_negative", "The guard zone cannot be below zero.");
  if (!lower || !upper) return;
  const zones = { scaled: guard.scaled * BigInt(2 - natural.size), decimals: guard.decimals };
  if (isBelow(subtract(upper, lower), zones)) {
    refuse("guard_swallows_band", "The guard zones cover the whole band; choose a smaller guard.");
  }
}

/* ---- the verdict ---- */

/**
 * Verdict on one value: { verdict, deviation, excess, nearest_limit }, numbers as text.
 *
 * `valueText` is what parseValue gave; `band` is what Band.to_json wrote. Options: `rule` ("simple" or "guarded"),
 * `expandedUncertainty` as text, which the guarded rule needs. The limits are inside; outside is always out of band.
 */
export function judge(valueText, band, { expandedUncertainty = null, rule = "simple" } = {}) {
  const { lower, upper, nominal, guard: ownGuard, natural } = readBand(band);
  const value = plainValue(valueText);
  const guard = rule === "simple" ? ownGuard : guardOf(expandedUncertainty, rule);
  const deviation = nominal && writePlain(subtract(value, nominal));
  const outside = (excess, side) => ({
    verdict: "out_of_band", deviation, excess: writePlain(excess), nearest_limit: side,
  });
  if (lower && isBelow(value, lower)) return outside(subtract(lower, value), "lower");
  if (upper && isBelow(upper, value)) return outside(subtract(value, upper), "upper");
  const below = lower && !natural.has("lower") ? subtract(value, lower) : null;
  const above = upper && !natural.has("upper") ? subtract(upper, value) : null;
  const near = (below && isBelow(below, guard)) || (above && isBelow(above, guard));
  return {
    verdict: near ? "near_limit" : "in_band", deviation, excess: "0", nearest_limit: nearest(below, above),
  };
}

function guardOf(expandedUncertainty, rule) {
  if (rule !== "guarded") refuse("rule_unknown", "The decision rule is 'simple' or 'guarded'.");
  if (expandedUncertainty === null) {
    refuse(
      "uncertainty_missing",
      "The guarded rule needs the expanded uncertainty of the measurement; record it with the gauge.",
    );
  }
  if (typeof expandedUncertainty !== "string" || !PLAIN_NUMBER.test(expandedUncertainty)) {
    refuse("value_not_decimal", "The expanded uncertainty must be a plain decimal number.");
  }
  const guard = readPlain(expandedUncertainty);
  if (guard.scaled < 0n) {
    refuse("uncertainty_negative", "The expanded uncertainty cannot be below zero; correct the gauge's record.");
  }
  return guard;
}

function nearest(below, above) {
  if (!below) return above ? "upper" : null;
  return !above || isBelow(below, above) ? "lower" : "upper";
}
