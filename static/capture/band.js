// The band's pictures on the tablet: the same drawing as qcapp/lib/band_picture.py. Floats draw, they never judge.

import { local, t } from "./words.js";

const TONES = {
  in_band: "in", conforms: "in", recorded: "in", near_limit: "near", out_of_band: "out", does_not_conform: "out",
};
/** The word of a verdict in the person's language; empty where there is none. */
export const word = (outcome) => ({
  in_band: t("In band"), near_limit: t("Near limit"), out_of_band: t("Out of band"), conforms: t("Conforms"),
  does_not_conform: t("Does not conform"), recorded: t("Recorded"),
}[outcome] ?? "");
const NS = "http://www.w3.org/2000/svg";

export const tone = (outcome) => TONES[outcome] ?? "open";

function draw(name, attributes, ...children) {
  const node = document.createElementNS(NS, name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  node.append(...children);
  return node;
}

const dot = (x) => draw("circle", { cx: x, cy: 12, r: 4.5, fill: "currentColor" });
const bar = (x) => draw("rect", { x, y: 2, width: 3, height: 20, rx: 1, fill: "currentColor" });

function dotAt(outcome, nearest) {
  const below = nearest === "lower";
  if (outcome === "near_limit") return below ? 16.5 : 27.5;
  if (outcome === "out_of_band") return below ? 5 : 39;
  return 22;
}

/** The 44 × 24 mark. `limits` tells which bars exist. */
export function mark(outcome, { nearest = "", kind = "measured", lower = true, upper = true, conflict = false } = {}) {
  const label = conflict ? t("two answers in conflict") : word(outcome) || t("not answered");
  const svg = draw("svg", {
    class: `mark ${conflict ? "near" : tone(outcome)}`, viewBox: "0 0 44 24", width: 44, height: 24, role: "img", "aria-label": label,
  });
  if (!conflict && (kind === "attribute" || kind === "record")) {
    svg.append(draw("circle", { cx: 22, cy: 12, r: 9, fill: "none", stroke: "currentColor", "stroke-width": 2.5 }));
    if (outcome) svg.append(dot(tone(outcome) === "out" ? 39 : 22));
    return svg;
  }
  if (lower) svg.append(bar(10.5));
  if (upper) svg.append(bar(30.5));
  if (conflict) svg.append(dot(18), dot(27));
  else if (outcome) svg.append(dot(dotAt(outcome, nearest)));
  return svg;
}

function stretch(lower, upper, value, nominal) {
  const points = [lower, upper, nominal].filter((point) => point !== null);
  if (points.length === 0) points.push(value ?? 0);
  let low = Math.min(...points);
  let high = Math.max(...points);
  const width = (high - low) || Math.abs(high) * 0.5 || 1;
  if (lower === null && nominal === null) low = Math.min(low, high - width);
  if (upper === null && nominal === null) high = Math.max(high, low + width);
  low -= 0.45 * width;
  high += 0.45 * width;
  if (value !== null) {
    low = Math.min(low, Math.max(value - 0.15 * width, low - 3 * width));
    high = Math.max(high, Math.min(value + 0.15 * width, high + 3 * width));
  }
  return [low, high];
}

const WIDTH = 420;
const LEFT = 14;
const RIGHT = 406;
const AXIS = 62;
const number = (text) => (text === null || text === undefined || text === "" ? null : Number(text));
const clamp = (x, low, high) => Math.min(Math.max(x, low), high);

/** The band to scale. `band` holds texts: lower, upper, nominal, guard, natural; `value` is text or null. */
export function ruler(band, value, outcome, unit) {
  const natural = band.natural ?? [];
  const [lower, upper, nominal, at] = [number(band.lower), number(band.upper), number(band.nominal), number(value)];
  const [low, high] = stretch(lower, upper, at, nominal);
  const x = (v) => Math.round((LEFT + ((v - low) / (high - low)) * (RIGHT - LEFT)) * 100) / 100;
  const svg = draw("svg", { class: "ruler", viewBox: `0 0 ${WIDTH} 100`, "aria-hidden": "true" });
  const x1 = lower === null ? LEFT : x(lower);
  const x2 = upper === null ? RIGHT : x(upper);
  svg.append(draw("rect", { class: "band", x: x1, y: AXIS - 20, width: Math.max(x2 - x1, 0), height: 20 }));
  const guard = number(band.guard) ?? 0;
  if (guard > 0 && lower !== null && !natural.includes("lower")) svg.append(hatch(x(lower), x(lower + guard)));
  if (guard > 0 && upper !== null && !natural.includes("upper")) svg.append(hatch(x(upper - guard), x(upper)));
  svg.append(...axis());
  for (const [side, limit, text] of [["lower", lower, band.lower], ["upper", upper, band.upper]]) {
    if (limit === null) continue;
    if (!natural.includes(side)) svg.append(draw("path", { class: "limit", d: `M${x(limit)} ${AXIS - 27}V${AXIS + 10}`, fill: "none" }));
    svg.append(label(x(limit), AXIS + 29, shown(text), ""));
  }
  if (nominal !== null) svg.append(draw("path", { class: "nominal", d: `M${x(nominal) - 5} ${AXIS + 9}h10l-5 -8z` }));
  if (at !== null) {
    const where = clamp(x(at), LEFT, RIGHT);
    svg.append(draw("circle", { class: `value ${tone(outcome)}`, cx: where, cy: AXIS - 10, r: 7.5 }));
    svg.append(label(where, AXIS - 34, `${shown(value)} ${unit ?? ""}`.trim(), `value ${tone(outcome)}`));
  }
  return svg;
}

export const shown = (text) => String(text).replace("-", "−");

function label(x, y, text, css) {
  const half = 4.2 * text.length;
  return draw("text", { x: clamp(x, half, WIDTH - half), y, "text-anchor": "middle", class: css }, local(text));
}

function axis() {
  const step = (RIGHT - LEFT) / 20;
  let ticks = "";
  for (let i = 0; i <= 20; i += 1) ticks += `M${(LEFT + i * step).toFixed(1)} ${AXIS}v${i % 2 === 0 ? 9 : 5}`;
  return [
    draw("path", { class: "axis", d: `M${LEFT} ${AXIS}H${RIGHT}`, fill: "none" }),
    draw("path", { class: "tick", d: ticks, fill: "none" }),
  ];
}

function hatch(x1, x2) {
  let path = "";
  for (let x = x1 + 3; x < x2; x += 5) {
    const top = Math.min(x + 8, x2);
    path += `M${x.toFixed(1)} ${AXIS}L${top.toFixed(1)} ${(AXIS - (20 * (top - x)) / 8).toFixed(1)}`;
  }
  return draw("path", { class: "guard", d: path });
}
