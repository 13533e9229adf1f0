/**
 * What counts of the readings at a checkpoint: brought to the reference temperature, their mean. Twin of
 * qcapp/core/checkpoints/counted.py; tests/vectors/counted.json holds both to it. The server's verdict counts.
 *
 * Fractions of BigInt, so nothing passes through a binary fraction. Values travel as text in plain digits with a dot.
 */

const COLDEST = "-40";
const WARMEST = "100";

function plain(text) {
  const [whole, decimals = ""] = text.split(".");
  const magnitude = BigInt(whole.replace("-", "") + decimals);
  return [text.startsWith("-") ? -magnitude : magnitude, 10n ** BigInt(decimals.length)];
}

const places = (text) => (text.split(".")[1] ?? "").length;

/** 1 + α·(T − 20) times a million, as numerator and denominator. */
function stretch(expansion, temperature) {
  const [[a, ofA], [t, ofT]] = [plain(expansion), plain(temperature)];
  return [1000000n * ofA * ofT + a * (t - 20n * ofT), ofA * ofT];
}

function rounded([top, bottom], decimals, least) {
  const scale = 10n ** BigInt(decimals);
  const [dividend, divisor] = [(top < 0n ? -top : top) * scale, bottom];
  let whole = dividend / divisor;
  const twice = 2n * (dividend % divisor);
  if (twice > divisor || (twice === divisor && whole % 2n === 1n)) whole += 1n;
  let left = decimals;
  for (; left > least && whole % 10n === 0n; left -= 1) whole /= 10n;
  const digits = whole.toString().padStart(left + 1, "0");
  const text = left ? `${digits.slice(0, -left)}.${digits.slice(-left)}` : digits;
  return top < 0n && whole !== 0n ? `-${text}` : text;
}

/** Whether a part's temperature is one that a single coefficient of expansion still holds at. */
export function isPlausible(temperature) {
  const [t, of] = plain(temperature);
  return t >= plain(COLDEST)[0] * of && t <= plain(WARMEST)[0] * of;
}

/** The square root of top / bottom, rounded up to so many decimals. */
function rootUp(top, bottom, decimals) {
  const scaled = top * 100n ** BigInt(decimals);
  const whole = scaled / bottom;
  let root = whole;
  for (let next = (whole + 1n) / 2n; next < root; next = (root + whole / root) / 2n) root = next;
  return rounded([root * root * bottom === scaled ? root : root + 1n, 10n ** BigInt(decimals)], decimals, decimals);
}

/**
 * What bringing the values to the reference temperature adds to the uncertainty, k = 2; null where the plan does not say
 * how well coefficient and temperature are known. `counts` is what `counted` gave.
 */
export function temperatureUncertainty(counts, { decimals, expansion = null, reference = "20", expansion_limit = null, thermometer = null }, temperature = null) {
  if (expansion === null || temperature === null || (expansion_limit === null && thermometer === null)) return null;
  const [a, t, r, wa, wt] = [expansion, temperature, reference, expansion_limit ?? "0", thermometer ?? "0"].map(plain);
  const lengths = counts.map(plain).map(([top, of]) => [top < 0n ? -top : top, of]);
  const [l, ofL] = lengths.reduce((x, y) => (y[0] * x[1] > x[0] * y[1] ? y : x));
  const [kelvin, ofK] = [t[0] * r[1] - r[0] * t[1], t[1] * r[1]];
  const first = [a[0] * wt[0], a[1] * wt[1]];
  const second = [kelvin * wa[0], ofK * wa[1]];
  const top = 4n * l * l * (first[0] ** 2n * second[1] ** 2n + second[0] ** 2n * first[1] ** 2n);
  return rootUp(top, 3n * (ofL * first[1] * second[1] * 1000000n) ** 2n, decimals + 3);
}

/** The gauge's uncertainty and the temperature's together: the root of their squares. Without the gauge's there is none. */
export function together(gauge, added, decimals) {
  if (!gauge || !added || !plain(added)[0]) return gauge;
  const [[g, ofG], [w, ofW]] = [plain(gauge), plain(added)];
  return rootUp(g * g * ofW * ofW + w * w * ofG * ofG, (ofG * ofW) ** 2n, Math.max(decimals + 3, places(gauge)));
}

/**
 * The values that meet the band. `asked`: { decimals, mean, expansion, reference }, expansion in µm per metre and kelvin
 * or null; `temperature` is the part's in °C, or null.
 */
export function counted(values, { decimals, mean = false, expansion = null, reference = "20" }, temperature = null) {
  const warm = expansion !== null && temperature !== null;
  const [from, to] = warm ? [stretch(expansion, temperature), stretch(expansion, reference)] : [];
  const other = warm && from[0] * to[1] !== to[0] * from[1];
  if (!other && !mean) return values;
  let found = values.map(plain);
  if (other) found = found.map(([top, bottom]) => [top * to[0] * from[1], bottom * to[1] * from[0]]);
  if (mean) found = [found.reduce(([a, b], [c, d]) => [a * d + c * b, b * d])].map(([top, bottom]) => [top, bottom * BigInt(values.length)]);
  const finest = Math.max(decimals + 2, ...values.map(places));
  return found.map((one) => rounded(one, finest, decimals));
}
