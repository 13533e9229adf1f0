// The set-up check at the start of a shift: each gauge that metrology asks for, read on its setting master. The tablet says
// at once whether it passes; the reading waits with the photos and is sent before the results that rest on it.

import { judge, parseValue } from "../js/verdict.js";
import { shown } from "./band.js";
import * as beside from "./beside.js";
import { el, fill, find, keypad, typed } from "./dom.js";
import * as outbox from "./outbox.js";
import * as people from "./people.js";
import * as shell from "./shell.js";
import { parts, signInAddress, when } from "./status.js";
import * as store from "./store.js";
import { chosen, learn, local, t } from "./words.js";

const back = new URLSearchParams(location.search).get("next");
let person = null;
let gauges = [];
let rows = [];
let here = new URLSearchParams(location.search).get("gauge");
let text = "";
let error = "";

// Sums of decimals as whole numbers of their last place: 25.000 ± 0.004 must not become 25.003999.
function plus(one, other, sign) {
  const places = Math.max(...[one, other].map((n) => (n.split(".")[1] ?? "").length));
  const whole = (n) => { const [a, b = ""] = n.replace("-", "").split("."); return BigInt(a + b.padEnd(places, "0")) * (n.startsWith("-") ? -1n : 1n); };
  const sum = whole(one) + BigInt(sign) * whole(other);
  const digits = String(sum < 0n ? -sum : sum).padStart(places + 1, "0");
  return `${sum < 0n ? "-" : ""}${places ? `${digits.slice(0, -places)}.${digits.slice(-places)}` : digits}`;
}

const passes = (gauge, reading) => judge(reading, { lower: plus(gauge.reference, gauge.limit, -1), upper: plus(gauge.reference, gauge.limit, 1), nominal: gauge.reference, natural: [] }).verdict !== "out_of_band";

/** The last check of a gauge, one that waits on the tablet too. */
function last(gauge) {
  const row = rows.findLast((one) => one.url.endsWith("/setup-checks") && one.body.gauge === gauge.number);
  if (row) return { at: row.body.recorded_at, reading: row.body.reading, by: row.name, passed: passes(gauge, row.body.reading) };
  return gauge.checked_at ? { at: gauge.checked_at, reading: gauge.reading, by: gauge.checked_by, passed: passes(gauge, gauge.reading) } : null;
}

const holds = (gauge, check) => check && Date.now() - new Date(check.at) < gauge.hours * 3600 * 1000;

async function load() {
  await learn(chosen(await store.getMeta("person").catch(() => null)));
  await people.begin(() => {});
  person = await store.holder();
  try {
    ({ person } = await outbox.session());
    ({ gauges } = await outbox.get("/api/v1/setup-checks"));
    await store.setMeta("setups", gauges);
  } catch (problem) {
    if (problem instanceof outbox.SignedOut && !person) { location.assign(signInAddress()); return; }
    gauges = (await store.getMeta("setups")) ?? [];
  }
  await draw();
}

async function draw() {
  rows = await beside.rows().catch(() => []);
  const gauge = gauges.find((one) => one.number === here);
  fill(find("#setup"), el("h1", {}, t("Set-up check on the master")),
    gauges.length ? null : el("p", { class: "panel" }, t("No gauge is asked to be checked on a master.")),
    gauge ? reading(gauge) : null, el("ul", { class: "unit-list" }, gauges.map(row)),
    back?.startsWith("/units/") ? el("div", { class: "answers" }, el("a", { class: "big go", id: "back", href: back }, t("Back to the bench"))) : null);
  foot();
  find("#value")?.focus({ preventScroll: true });
}

async function foot() {
  if (person) find("#who").textContent = person.name;
  const [waiting, refused] = await Promise.all([store.waiting(), store.refused()]);
  fill(find("#foot"), ...parts({ waiting, refused, besides: rows, person: person?.name, badge: person?.badge, onRefused: () => location.assign("/floor/") }), shell.updateButton(() => text === ""));
}

function row(gauge) {
  const check = last(gauge);
  const state = !holds(gauge, check) ? ["near", t("due")] : check.passed ? ["in", t("passed")] : ["out", t("not passed")];
  return el("li", {}, el("button", { type: "button", class: "gauge", "data-gauge": gauge.number, "aria-current": String(gauge.number === here), onclick: () => { here = gauge.number; text = ""; error = ""; draw(); } },
    el("span", { class: "top-line" }, el("strong", {}, gauge.number), el("span", { class: `criticality ${state[0]}` }, state[1])),
    el("span", { class: "quiet" }, `${gauge.kind_name} · ${gauge.master}`),
    check ? el("span", { class: "quiet" }, t("{0}: {1} by {2}", when(check.at), local(`${shown(check.reading)} ${gauge.unit_of_measure}`), check.by)) : null));
}

function reading(gauge) {
  const check = last(gauge);
  const field = el("input", { id: "value", type: "text", inputmode: "none", autocomplete: "off", spellcheck: "false", maxlength: "40", value: text, "aria-label": t("Reading of {0} on {1}", gauge.number, gauge.master), "aria-invalid": error ? "true" : null,
    oninput: (event) => { text = event.target.value; }, onkeydown: (event) => { if (event.key === "Enter" && !event.repeat) { event.preventDefault(); enter(gauge); } } });
  const press = (key) => { if (key === "enter") { enter(gauge); return; } field.value = typed(field.value, key); text = field.value; };
  const failed = holds(gauge, check) && !check.passed;
  return el("div", { class: "entry" }, el("section", { class: "panel reading", "aria-label": t("Reading") },
    el("div", { class: "head" }, el("span", {}, `${gauge.number}: ${gauge.master}, ` + local(`${shown(gauge.reference)} ± ${gauge.limit} ${gauge.unit_of_measure}`))),
    el("div", { class: "value" }, field, el("span", { class: "unit" }, gauge.unit_of_measure)),
    error ? el("p", { class: "typing-error", role: "alert" }, error) : null,
    check && holds(gauge, check) ? el("p", { class: `banner ${failed ? "" : "quiet"}`, id: "said", role: "status" }, failed ? t("Not passed: {0}. Clean both and check again, or take the gauge out of use.", local(shown(check.reading))) : t("Passed: {0}. It may measure for {1} h.", local(shown(check.reading)), gauge.hours)) : null,
    failed ? el("div", { class: "answers" }, el("button", { type: "button", class: "big", id: "out", onclick: () => takeOut(gauge) }, t("Take {0} out of use", gauge.number))) : null), keypad(press));
}

async function keep(url, body, label) {
  try {
    await beside.keep(person, url, body, { label });
  } catch (problem) {
    error = t("NOT SAVED. The tablet did not keep this entry ({0}). Enter it again, or write it on paper and use another tablet.", store.whyNot(problem));
  }
  await draw();
}

async function enter(gauge) {
  let value;
  try {
    value = parseValue(text.trim(), { units: gauge.unit_of_measure ? [gauge.unit_of_measure] : [] });
  } catch (problem) { error = t(...problem.said); draw(); return; }
  text = "";
  error = "";
  await keep("/api/v1/setup-checks", { gauge: gauge.number, reading: value, device: (await store.getMeta("device")) ?? "tablet", recorded_at: new Date().toISOString() }, gauge.number);
}

const takeOut = (gauge) => keep(`/api/v1/gauges/${encodeURIComponent(gauge.number)}/doubt`, { gauge: gauge.number, reason: t("Set-up check not passed") }, gauge.number);

beside.follow(async () => {
  rows = await beside.rows().catch(() => []);
  await outbox.get("/api/v1/setup-checks").then((fresh) => { gauges = fresh.gauges; return store.setMeta("setups", gauges); }).catch(() => {});
  await draw();
});
outbox.onChange(foot);
shell.begin(foot);
load();
