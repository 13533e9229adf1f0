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
