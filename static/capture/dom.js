// Small means to build the page: elements by name, and dialogs that return what was chosen.

import { decimalMark, t } from "./words.js";

const ONE = /([A-Z]+-[\w-]*\d|\d[\d.,]* \S{1,7}(?!\S))/;
/** The text with each number and its unit, and each "NCR-2026-0012", in a piece that no line breaks. */
const inPieces = (text) => text.split(ONE).map((part, i) => (i % 2 ? el("bdi", {}, part) : part));

export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) {
    if (value === null || value === undefined || value === false) continue;
    if (key.startsWith("on")) node.addEventListener(key.slice(2), value);
    else if (key === "class") node.className = value;
    else node.setAttribute(key, value === true ? "" : value);
  }
  const sentence = /^(p|li|strong|summary|h\d)$/.test(name);
  node.append(...children.flat().filter((child) => (child ?? false) !== false).flatMap((child) => (sentence && child.split ? inPieces(child) : child)));
  return node;
}

export const find = (selector) => document.querySelector(selector);

export function fill(node, ...children) {
  node.replaceChildren(...children.flat().filter(Boolean));
}

/** Open a dialog; `build(close)` gives its content. Resolves with what close() was called with, null on Esc. */
export function ask(title, build) {
  return new Promise((resolve) => {
    const dialog = el("dialog", { "aria-label": title });
    let result = null;
    const close = (value) => { result = value ?? null; dialog.close(); };
    dialog.append(el("div", { class: "inside" }, el("h2", {}, title), build(close)));
    dialog.addEventListener("close", () => { dialog.remove(); resolve(result); });
    document.body.append(dialog);
    dialog.showModal();
    dialog.querySelector("[data-first]")?.focus();
  });
}

let held = 0; // until when a tap may be on its way
const owed = new Set();

/** Do it now; while a finger is down, when its tap has arrived: a button that is built anew under a finger loses the tap. */
export function loosely(work) {
  if (performance.now() >= held) work();
  else owed.add(work);
}

function hold(longest) {
  held = performance.now() + longest;
  setTimeout(() => {
    if (performance.now() < held) return;
    const all = [...owed];
    owed.clear();
    for (const work of all) work();
  }, longest + 1);
}

for (const [kind, longest] of [["pointerdown", 5000], ["pointerup", 300], ["pointercancel", 0], ["click", 0]]) addEventListener(kind, () => hold(longest), true);

/** Tell something that needs no choice. */
export function tell(title, ...content) {
  return ask(title, (close) => el("div", { class: "picks" }, ...content,
    el("div", { class: "then" }, el("button", { class: "big go", type: "button", "data-first": true, onclick: () => close(true) }, t("Understood")))));
}

/** The keypad for gloves. `press(key)` gets a digit, ".", "±", "⌫", "enter". It never takes the focus from the field. */
export function keypad(press, { decimals = true, sign = true, enter = t("Enter") } = {}) {
  const key = (label, name, css = "", spoken = null) => el("button", {
    type: "button", class: css, tabindex: "-1", "aria-label": spoken, onpointerdown: (event) => event.preventDefault(), onclick: () => press(name),
  }, label);
  const digit = (d) => key(d, d);
  return el("div", { class: "keys", role: "group", "aria-label": t("Keypad") },
    ["7", "8", "9"].map(digit), key("⌫", "⌫", "side", t("Delete the last digit")),
    ["4", "5", "6"].map(digit), sign ? key("±", "±", "side", t("Change the sign")) : key("C", "clear", "side", t("Clear")),
    ["1", "2", "3"].map(digit), decimals ? key(decimalMark(), ".", "side", t("Decimal mark")) : key("00", "00", "side", t("Two zeros")),
    key("0", "0", "wide"), key(enter, "enter", "wide enter"));
}

/** What a key does to the text of a field. */
export function typed(text, key) {
  if (key === "⌫") return text.slice(0, -1);
  if (key === "clear") return "";
  if (key === "±") return /^[-−]/.test(text) ? text.slice(1) : `-${text}`;
  if (key === ".") return /[.,]/.test(text) ? text : `${text || "0"}${decimalMark()}`;
  return text + key;
}

// A part that is loaded when it is asked for, and the network is away: nothing would happen, and nobody would know why.
addEventListener("unhandledrejection", (event) => {
  if (!/import/i.test(event.reason?.message)) return;
  event.preventDefault();
  tell(t("No network"), el("p", {}, t("What you asked for could not be loaded. Nothing is lost: try again when there is network.")));
});
