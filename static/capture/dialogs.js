// Questions the bench asks: the gauge in hand, a reason.

import { ask, el } from "./dom.js";
import { t } from "./words.js";

const days = new Map(); // the browser takes milliseconds to write one, and a gauge's is written at each checkpoint

/** 2027-03-03 as 3 Mar 2027. */
export function dayText(iso) {
  if (!iso) return "";
  const code = document.documentElement.lang;
  const key = `${code} ${iso}`;
  if (!days.has(key)) {
    const day = new Date(`${iso.slice(0, 10)}T12:00:00Z`);
    days.set(key, day.toLocaleDateString(code === "en" ? "en-GB" : code, { day: "numeric", month: "short", year: "numeric", timeZone: "UTC" }).replace("Sept", "Sep"));
  }
  return days.get(key);
}

/** Pick the gauge in hand. One out of calibration only where no other is there: a fact is kept, but proves nothing yet. */
export function askGauge(gauges, current, question) {
  const none = !gauges.some((gauge) => gauge.usable);
  const advice = gauges.length ? t("No gauge of this kind is in calibration. A reading is kept, but it is no proof until the quality manager has decided.") : t("No gauge of this kind is registered. Tell the quality manager; until then this checkpoint waits.");
  return ask(question, (close) => el("div", { class: "picks two" },
    none ? el("p", {}, advice) : null,
    gauges.map((gauge) => el("button", {
      type: "button", "aria-pressed": String(gauge.number === current), "data-first": gauge.number === current, disabled: !gauge.usable && !none,
      onclick: () => close(gauge.number),
    }, el("strong", {}, `${gauge.number} ${gauge.kind_name}`),
    el("span", {}, gauge.usable ? (gauge.due_on ? t("calibration due {0}", dayText(gauge.due_on)) : t("needs no calibration")) : gauge.sentence))),
    el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back")))));
}

/** Ask for a reason: one of the usual ones by a tap, or own words. */
export function askReason(title, explanation, usual, use = t("Use this reason")) {
  return ask(title, (close) => {
    const own = el("textarea", { rows: "2", maxlength: "200", "aria-label": t("In your own words"), "data-first": usual.length === 0 });
    return el("div", { class: "picks" },
      el("p", {}, explanation),
      usual.map((reason, i) => el("button", { type: "button", "data-first": i === 0, onclick: () => close(reason) }, el("strong", {}, reason))),
      el("label", { class: "floor-field" }, t("In your own words"), own),
      el("div", { class: "then" },
        el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back")),
        el("button", { type: "button", class: "big go", onclick: () => { if (own.value.trim()) close(own.value.trim()); else own.focus(); } }, use)));
  });
}
