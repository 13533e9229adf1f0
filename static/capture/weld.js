// Before an arc is struck. With network the server checks range and qualification; without it the tablet does, by what it
// took along, and the server does so again when it is sent. What the server then refuses stays here with its reason.

import { compare, parseValue } from "../js/verdict.js";
import * as beside from "./beside.js";
import { el, fill, find } from "./dom.js";
import * as outbox from "./outbox.js";
import * as people from "./people.js";
import * as shell from "./shell.js";
import { parts, refusedBeside, signInAddress, when } from "./status.js";
import * as store from "./store.js";
import { chosen, learn, limits, local, t } from "./words.js";

const serial = decodeURIComponent(location.pathname.split("/")[2]);
const ADDRESS = `/api/v1/units/${encodeURIComponent(serial)}/arcs`;
let person = null;
let sheet = null; // procedures, fixtures, the person's qualifications, and as of when
let operation = outbox.uuid7(); // sending the same form again is the same operation
let waiting = [];

// ---- what is known here

async function readSheet() {
  try {
    const { person: signedIn } = await outbox.session();
    if (!people.here.unlocked) await store.setMeta("person", signedIn);
    person = await store.holder();
    sheet = { ...(await outbox.get("/api/v1/weld-sheet")), at: Date.now() };
    await store.setMeta(`welding ${person.badge}`, sheet);
  } catch {
    person = await store.holder();
    sheet = (person && (await store.getMeta(`welding ${person.badge}`))) ?? null;
  }
}

/** The joints of the unit's plan, as it was taken along. */
async function joints() {
  const kept = person && ((await store.keptUnit(person.badge, serial)) ?? (await people.borrowed(serial, person)));
  const named = new Set((kept?.data.checkpoints ?? []).map((c) => c.joint).filter(Boolean));
  return [...named].sort((a, b) => Number(a.slice(1)) - Number(b.slice(1)));
}

// ---- the form where the server did not write it

const field = (label, name, options = {}) => el("label", { class: "floor-field" }, label, el("input", { name, autocomplete: "off", maxlength: "40", required: true, ...options }));
const choice = (type, name, value, strong, small) => el("label", { class: "choice" }, el("input", { type, name, value }), el("span", {}, el("strong", {}, strong), small ? el("small", {}, small) : null));
const select = (label, name, options) => el("label", { class: "floor-field" }, label, el("select", { name }, options.map(([value, text]) => el("option", { value }, text))));

function form(known) {
  const grades = [...new Set(sheet.procedures.flatMap((one) => one.base_grades))].sort();
  const about = (one) => [one.title, one.process, `${local(one.thickness_from)}–${local(one.thickness_to)} mm`, one.base_grades.join(", "), one.preheat === null ? "" : t("preheat ≥ {0} °C", one.preheat)].filter(Boolean).join(" · ");
  return el("form", { class: "weld-form" },
    el("fieldset", { class: "panel" }, el("legend", {}, t("Joints, as many as you weld the same way")), el("div", { class: "choices" }, known.map((joint) => choice("checkbox", "joints", joint, joint)))),
    el("fieldset", { class: "panel" }, el("legend", {}, t("Procedure")), el("div", { class: "choices wide" }, sheet.procedures.map((one) => choice("radio", "procedure", one.uuid, one.name, about(one))))),
    el("div", { class: "panel weld-fields" },
      select(t("Base grade"), "base_grade", grades.map((grade) => [grade, grade])),
      field(t("Thickness of the thinner part, mm"), "thickness", { inputmode: "decimal", maxlength: "8" }),
      field(t("Filler lot"), "filler_lot", { autocapitalize: "characters" }), field(t("Machine"), "machine", { autocapitalize: "characters" }),
      select(t("Fixture"), "fixture", [["", t("none")], ...sheet.fixtures.map((one) => [one.number, `${one.number} ${one.name}`])]),
      field(t("Preheat measured, °C"), "preheat", { inputmode: "numeric", maxlength: "4", required: false })),
    el("div", { class: "answers" }, el("button", { class: "big go", id: "start" }, t("Check and write down, then weld"))));
}

async function offlineForm() {
  const place = find("#weld-here");
  const known = await joints();
  const missing = !sheet ? t("No network, or the server does not answer, and what welding is checked by was not taken along on this tablet. Open the floor page once with network.")
    : !sheet.welder ? t("Only a welder says what is welded. Somebody else works on this tablet now.")
      : !known.length ? t("No network, and this unit was not taken along on this tablet, or its plan names no joints.") : "";
  fill(place, missing ? el("p", { class: "panel" }, missing) : form(known));
}

// ---- checking

const day = () => { const now = new Date(); return new Date(now - now.getTimezoneOffset() * 60000).toISOString().slice(0, 10); };

/** What was filled in, ready to be sent; raises an Error with a sentence. */
function said(filled) {
  const text = (name) => String(filled.get(name) ?? "").trim();
  const arc = { operation, joints: filled.getAll("joints"), procedure: text("procedure"), base_grade: text("base_grade"), filler_lot: text("filler_lot"), machine: text("machine"), fixture: text("fixture"), preheat: null };
  if (!arc.joints.length) throw new Error(t("Tap the joints that you weld."));
  if (!arc.procedure) throw new Error(t("Tap the procedure that you weld by."));
  if (!arc.filler_lot || !arc.machine) throw new Error(t("Filler lot and machine are asked before the arc."));
  arc.thickness = parseValue(text("thickness"), { units: ["mm"] });
  if (text("preheat")) arc.preheat = Number(parseValue(text("preheat"), { units: ["°C"] }));
  if (arc.preheat !== null && !Number.isInteger(arc.preheat)) throw new Error(t("Preheat is a whole number of °C."));
  return arc;
}

const within = (thickness, one) => compare(one.thickness_from, thickness) <= 0 && compare(thickness, one.thickness_to) <= 0;

/** As the server checks it: gives `stop`, why it must not be welded, or `warn`, what is written down with a report. */
function checked(arc, known, today) {
  const procedure = known.procedures.find((one) => one.uuid === arc.procedure);
  if (!known.welder) return { stop: t("Only a welder says what is welded. Somebody else works on this tablet now.") };
  if (!procedure) return { stop: t("This procedure was not in force when the tablet took it along. Choose another.") };
  const wrong = [];
  if (!within(arc.thickness, procedure)) wrong.push(t("{0}, not {1} mm", limits(`${procedure.thickness_from} to ${procedure.thickness_to} mm`), local(arc.thickness)));
  if (!procedure.base_grades.includes(arc.base_grade)) wrong.push(t("{0}, not {1}", procedure.base_grades.join(", "), arc.base_grade));
  if (procedure.preheat !== null && (arc.preheat === null || arc.preheat < procedure.preheat)) wrong.push(t("preheat ≥ {0} °C", procedure.preheat));
  if (wrong.length) return { stop: t("{0} is for {1}. Do not weld; take another procedure or ask.", procedure.name, wrong.join("; ")) };
  const fixture = known.fixtures.find((one) => one.number.toUpperCase() === arc.fixture.toUpperCase());
  const unverified = fixture && (fixture.sentence || (fixture.due_on && fixture.due_on < today ? t("The fixture {0} is due for verification.", fixture.number) : ""));
  if (unverified) return { stop: `${unverified} ${t("Do not weld in it; take another fixture, or ask metrology.")}` };
  const qualified = known.qualifications.some((one) => one.process === procedure.process && within(arc.thickness, one) && one.issued_on <= today && today <= one.holds_until);
  const not = t("You hold no qualification for process {0} at {1} mm today.", procedure.process, local(arc.thickness));
  if (!qualified && known.unqualified !== "report") return { stop: `${not} ${t("Do not weld; ask the welding coordinator.")}` };
  return { warn: qualified ? "" : not };
}

// ---- scanning: a joint, a procedure or a fixture, whichever field the scanner types into

function scanned(event) {
  const typed = event.target;
  if (event.key !== "Enter" || typed.tagName !== "INPUT" || ["checkbox", "radio"].includes(typed.type)) return;
  event.preventDefault();
  const code = typed.value.trim().toUpperCase();
  const { fixture } = event.currentTarget.elements;
  const named = (one) => one.parentElement.querySelector("strong").textContent.toUpperCase();
  const hit = [...event.currentTarget.querySelectorAll("[name=joints], [name=procedure]")].find((one) => code && (named(one) === code || named(one).startsWith(`${code} REV `)));
  const held = [...(fixture.options ?? [])].find((one) => code && one.value.toUpperCase() === code);
  if (hit) hit.checked = true;
  else if (held) fixture.value = held.value;
  if (hit || held) { typed.value = ""; return; }
  const fields = [...event.currentTarget.querySelectorAll("input:not([type=checkbox]):not([type=radio]):not([type=hidden])")];
  (fields.slice(fields.indexOf(typed) + 1).find((one) => !one.value) ?? find("#start")).focus();
}

function listen(weld) {
  weld.prepend(el("label", { class: "floor-field panel" }, t("Scan a joint, the procedure or the fixture; or tap below"), el("input", { id: "scanned", autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: "60" })));
  weld.addEventListener("keydown", scanned);
  weld.addEventListener("submit", submit);
  find("#scanned").focus({ preventScroll: true });
}

// ---- saying it

function tell(css, ...sentences) {
  fill(find("#said"), el("div", { class: `banner ${css}`, role: css ? "status" : "alert" }, sentences.filter(Boolean).map((one) => el("p", {}, one))));
  find("#said").scrollIntoView({ block: "nearest" });
}

let startedAt = -1000; // a second tap right after belongs to the first: it must not wipe out what was said
async function started(arc, ...sentences) {
  operation = outbox.uuid7();
  startedAt = performance.now();
  for (const box of document.querySelectorAll("[name=joints]:checked")) box.checked = false;
  tell(...sentences);
  await show();
}

async function submit(event) {
  event.preventDefault();
  const go = find("#start");
  if (go.disabled || performance.now() - startedAt < 1000) return;
  go.disabled = true;
  try {
    await begin(said(new FormData(event.target)));
  } catch (problem) {
    tell("", t(...(problem.said ?? [problem.message])));
  }
  go.disabled = false;
}

async function begin(arc) {
  const names = arc.joints.join(", ");
  try {
    const { ok, body } = await outbox.post(ADDRESS, arc, await outbox.tokenOf(person));
    if (!ok) tell("", body.message);
    else if (body.report) await started(arc, "", t("Written down, but something did not fit: {0} is open and the unit is on hold.", body.report));
    else await started(arc, "quiet", t("{0} may be welded now; it is written down.", names));
  } catch (problem) {
    if (problem instanceof outbox.SignedOut && !people.here.unlocked) { location.assign(signInAddress()); return; }
    if (problem instanceof outbox.Stranger) tell("", problem.message);
    else await withoutNetwork(arc, names);
  }
}

async function withoutNetwork(arc, names) {
  if (!sheet || !person) { tell("", t("No network, or the server does not answer, and what welding is checked by was not taken along on this tablet. Open the floor page once with network.")); return; }
  const { stop, warn } = checked(arc, sheet, day());
  if (stop) { tell("", stop); return; }
  try { await kept(arc, names); } catch (error) { tell("", t("NOT SAVED. The tablet did not keep this entry ({0}). Enter it again, or write it on paper and use another tablet.", store.whyNot(error))); return; }
  const then = t("Kept on this tablet: {0} may be welded now. The tablet checked it by what it knew at {1}; the server checks it again when it is sent.", names, when(sheet.at));
  await started(arc, warn ? "near" : "quiet", warn, warn ? t("A report follows when it is sent.") : "", then);
}

const kept = (arc, names) => beside.keep(person, ADDRESS, { ...arc, serial, recorded_at: new Date().toISOString() }, { id: arc.operation, label: t("Weld {0}", names) });

// ---- what waits

async function show() {
  waiting = await beside.rows().catch(() => []);
  const mine = waiting.filter((row) => row.url === ADDRESS);
  fill(find("#waits"), ...mine.filter((row) => row.refused).map((row) => refusedBeside(row, person?.badge, show)),
    ...mine.filter((row) => !row.refused).map((row) => el("p", { class: "panel" }, `${row.label}: ${t("on this tablet, the server has not checked it yet")}`)));
  const [results, refused] = await Promise.all([store.waiting(), store.refused()]);
  fill(find("#foot"), ...parts({ waiting: results, refused, besides: waiting, person: person?.name, badge: person?.badge, onRefused: () => location.assign("/floor/") }));
}

await learn(chosen(await store.getMeta("person").catch(() => null)));
find("#serial").textContent = serial;
document.title = `${serial}, ${t("Weld")} · qcapp`;
await people.begin();
await readSheet();
if (person) find("#who").textContent = person.initials;
if (find("#weld-here")) await offlineForm();
if (find(".weld-form")) listen(find(".weld-form"));
outbox.onChange(show);
beside.follow(show);
await show();
outbox.soon(500);
shell.begin(() => {});
