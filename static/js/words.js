// The words of the office's scripts in the language of the page. English stands in the scripts and is the key; the page
// brings what its language says for it (`{% script_words %}`).

const told = document.getElementById("script-words");
const words = told ? JSON.parse(told.textContent) : {};

/** The text in the page's language, with {0}, {1} … filled in. */
export const t = (text, ...values) => (words[text] || text).replace(/\{(\d)\}/g, (_, place) => values[place]);
