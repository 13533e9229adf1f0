// The words of the floor pages in the person's language. English stands in the code and is the key of every other language.

let words = {};
let comma = false;

/** The language to learn: the page's own, where the server wrote it for this person; on the kept page the one kept. */
export const chosen = (person) => ("chosen" in document.documentElement.dataset ? document.documentElement.lang : person?.language ?? navigator.language.slice(0, 2));

let learnt = "en";
/** Learn a language; without network and never learnt it stays as it was. */
export async function learn(code) {
  const other = ["de", "es"].includes(code);
  const known = other ? code : "en";
  if (known === learnt) return;
  try {
    const response = other && (await fetch(`/floor/words/${code}/`, { redirect: "manual" }));
    if (other && !response.ok) return;
    words = other ? await response.json() : {};
    comma = other;
    learnt = known;
    document.documentElement.lang = known;
    for (const node of document.querySelectorAll("[data-words]")) node.textContent = t(node.dataset.words);
    for (const node of document.querySelectorAll("[data-label]")) node.setAttribute("aria-label", t(node.dataset.label));
    document.title = document.title.replace(/^.+(?= · )/, (name) => t(name)); // a kept page's, as long as its script has said none
  } catch { /* English is better than nothing. */ }
}

/** The text in the person's language, with {0}, {1} … filled in; "{0?stage|stages}" is the first where {0} is 1. */
export function t(text, ...values) {
  return (words[text] || text).replace(/\{(\d)(?:\?(.*?)\|(.*?))?\}/g, (_, place, one, more) => (more === undefined ? values[place] : Number(values[place]) === 1 ? one : more));
}

/** How the language writes days. */
export const region = () => (learnt === "en" ? "en-GB" : learnt);

/** A number, or a text with numbers, with the language's decimal mark. What is sent keeps the point. */
export const local = (text) => (comma ? String(text).replace(/(\d)\.(\d)/g, "$1,$2") : String(text));
/** Limits as the plan writes them ("44.7 to 45.3 mm"). */
export const limits = (text) => local(text ?? "").replace(/(^| )-(?=\d)/g, "$1−").replace(" to ", ` ${t("to")} `).replace(/^(min|max)(?= )/, (word) => (word === "min" ? t("min") : t("max")));
export const decimalMark = () => (comma ? "," : ".");
