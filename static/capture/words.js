// The words of the floor pages in the person's language. English stands in the code and is the key of every other language.

let words = {};
let comma = false;

/** The language to learn: the page's own, where the server wrote it for this person; on the kept page the one kept. */
export const chosen = (person) => ("chosen" in document.documentElement.dataset ? document.documentElement.lang : person?.language ?? "en");

/** Learn a language; without network and never learnt it stays English. */
export async function learn(code) {
  if (!["de", "es"].includes(code)) return;
  try {
    const response = await fetch(`/floor/words/${code}/`, { redirect: "manual" });
    if (!response.ok) return;
    words = await response.json();
    comma = true;
    document.documentElement.lang = code;
    for (const node of document.querySelectorAll("[data-words]")) node.textContent = t(node.dataset.words);
    for (const node of document.querySelectorAll("[data-label]")) node.setAttribute("aria-label", t(node.dataset.label));
  } catch { /* English is better than nothing. */ }
}

/** The text in the person's language, with {0}, {1} … filled in. */
export function t(text, ...values) {
  return (words[text] || text).replace(/\{(\d)\}/g, (_, place) => values[place]);
}

/** A number, or a text with numbers, with the language's decimal mark. What is sent keeps the point. */
export const local = (text) => (comma ? String(text).replace(/(\d)\.(\d)/g, "$1,$2") : String(text));
/** Limits as the plan writes them ("44.7 to 45.3 mm"). */
export const limits = (text) => local(text ?? "").replace(" to ", ` ${t("to")} `);
export const decimalMark = () => (comma ? "," : ".");
