// The copy buttons of the page "Limits". Everything else there works without a script.
// Away from https a page may not write to the clipboard, so the text is selected and copied the old way.

import { t } from "./words.js";

document.documentElement.dataset.script = "yes";

async function copy(text, field) {
  if (navigator.clipboard && window.isSecureContext) {
    await navigator.clipboard.writeText(text);
    return true;
  }
  const shown = field.value;
  field.value = text;
  field.select();
  const done = document.execCommand("copy");
  field.value = shown;
  return done;
}

document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy]");
  if (!button) return;
  const row = button.closest(".copy");
  const told = row.querySelector("output");
  try {
    told.textContent = (await copy(button.dataset.copy, row.querySelector("[data-copied]"))) ? t("Copied") : t("Select the text and copy it");
  } catch {
    row.querySelector("[data-copied]").select();
    told.textContent = t("Select the text and copy it");
  }
});
