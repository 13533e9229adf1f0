// The pages of a PDF as small pictures, to choose which of them become sheets. Without this script their numbers are typed.

import { t } from "./words.js";

const place = document.querySelector("#page-choice");
const form = place.closest("form");
const file = form.querySelector("input[type=file]");
const numbers = form.querySelector("input[name=pages]");

function node(name, attributes, ...children) {
  const made = document.createElement(name);
  Object.assign(made, attributes);
  made.append(...children);
  return made;
}

const say = (text, role = "status") => place.replaceChildren(Object.assign(node("p", { className: role === "alert" ? "said refused" : "said" }, text), { role }));

/** "1, 3-5" of [1, 3, 4, 5]. */
function written(pages) {
  const runs = [];
  for (const page of pages) {
    const last = runs.at(-1);
    if (last && last[1] === page - 1) last[1] = page;
    else runs.push([page, page]);
  }
  return runs.map(([first, last]) => (first === last ? first : `${first}-${last}`)).join(", ");
}

function choose(most) {
  const chosen = [...place.querySelectorAll("input:checked")].map((one) => Number(one.value));
  numbers.value = written(chosen);
  const words = chosen.length ? t("{0} chosen: {1}.", chosen.length, numbers.value) : t("None chosen: all of them are taken.");
  place.querySelector("[role=status]").textContent = chosen.length > most ? `${words} ${t("At most {0} are taken at once.", most)}` : words;
}

function show({ pages, most }) {
  const one = ({ page, picture }) => node("label", {}, node("img", { src: `data:image/png;base64,${picture}`, alt: "" }),
    node("span", {}, node("input", { type: "checkbox", value: page, onchange: () => choose(most) }), ` ${t("Page {0}", page)}`));
  const status = node("p", { className: "said" });
  status.setAttribute("role", "status");
  place.replaceChildren(node("fieldset", { className: "page-choice" }, node("legend", {}, t("Pages of the PDF: choose which become sheets ({0})", pages.length)), ...pages.map(one)), status);
  choose(most);
}

let asked = 0;
file.addEventListener("change", async () => {
  const chosen = file.files[0];
  place.replaceChildren();
  numbers.value = "";
  if (!chosen || !/\.pdf$/i.test(chosen.name)) return;
  const mine = asked += 1;
  say(t("The pages are being drawn …"));
  const body = new FormData();
  body.append("file", chosen);
  try {
    const answer = await fetch(place.dataset.address, { method: "POST", body, headers: { "X-CSRFToken": form.querySelector("[name=csrfmiddlewaretoken]").value } });
    const told = await answer.json();
    if (mine !== asked) return;
    if (answer.ok) show(told);
    else say(told.message, "alert");
  } catch {
    if (mine === asked) say(t("The pages could not be shown. Type their numbers, or choose the file again."), "alert");
  }
});
