// The floor page: pick up a unit, see which ones are on this tablet, and what still waits to be sent.

import * as beside from "./beside.js";
import { el, fill, find, loosely } from "./dom.js";
import * as outbox from "./outbox.js";
import * as people from "./people.js";
import * as shell from "./shell.js";
import { parts, showRefused, signInAddress, when } from "./status.js";
import * as store from "./store.js";
import { chosen, learn, t } from "./words.js";

const state = { person: null, waiting: [], refused: [], besides: [], kept: new Map(), busy: "" };
const online = "online" in find("main").dataset;
const address = (serial) => `/units/${encodeURIComponent(serial)}/bench/`;

async function read() {
  state.person = await store.holder();
  [state.waiting, state.refused, state.besides] = await Promise.all([store.waiting(), store.refused(), beside.rows().catch(() => [])]);
  const units = state.person ? await store.keptUnits(state.person.badge) : [];
  state.kept = new Map(units.map((unit) => [unit.serial, unit]));
}

async function show() {
  await read();
  const who = find("#who");
  if (state.person) who.textContent = state.person.name;
  if (!online) listKept();
  await showContinue();
  for (const link of document.querySelectorAll("[data-serial]")) note(link);
  const missing = [...document.querySelectorAll("[data-serial]")].filter((link) => !state.kept.has(link.dataset.serial)).length;
  const along = missing ? t("{0} not on this tablet yet.", missing) : t("All of these open without network.");
  const lasting = shell.ready.lasting ? "" : ` ${t("The browser does not promise to keep its storage: start this page from the home screen.")}`;
  const full = shell.ready.full ? ` ${t("The tablet's storage is nearly full: send what waits, then make room.")}` : "";
  find("#along").textContent = state.busy || shell.ready.problem || along + lasting + full;
  find("#take").hidden = !online || Boolean(state.busy) || Boolean(shell.ready.problem);
  fill(find("#foot"), ...parts({
    waiting: state.waiting, refused: state.refused, besides: state.besides, person: state.person?.name, badge: state.person?.badge,
    onRefused: () => showRefused(state.refused, state.person?.badge ?? "", (row) => location.assign(`${address(row.operation.serial)}?checkpoint=${encodeURIComponent(row.operation.checkpoint)}&refused=${row.operation.id}`)),
  }), shell.updateButton(() => true));
}

/** Where this person was last, one tap away. */
async function showContinue() {
  const last = state.person && (await store.getMeta(`last ${state.person.badge}`).catch(() => null));
  fill(find("#continue"), last ? el("a", { class: "big go", href: `${address(last.serial)}?checkpoint=${encodeURIComponent(last.key)}` }, t("Go on with {0}, {1}", last.serial, last.number)) : null);
}

/** What waits here changes while the tablet lies open: fetch the lists anew, and take along what has come. */
async function renew() {
  if (document.visibilityState !== "visible" || document.querySelector("dialog[open]")) return;
  try {
    const response = await fetch(location.pathname, { redirect: "manual", signal: AbortSignal.timeout(8000) });
    const lists = response.ok && new DOMParser().parseFromString(await response.text(), "text/html").querySelector("#lists");
    if (!lists?.querySelector("[data-serial]")) return;
    find("#lists").replaceWith(document.adoptNode(lists));
    await takeAll(undefined);
  } catch { /* no network: the list stays as it was */ }
}

const unsentOf = (serial) => [...state.waiting.map((row) => row.operation), ...state.besides.map((row) => row.body)].filter((one) => one.serial === serial).length;

function note(link) {
  const unit = state.kept.get(link.dataset.serial);
  const unsent = unsentOf(link.dataset.serial);
  const words = [unit ? t("on this tablet, as of {0}", when(unit.at)) : t("not on this tablet"), unsent ? t("{0} not sent", unsent) : ""].filter(Boolean).join(" · ");
  const line = link.querySelector(".kept") ?? link.appendChild(el("span", { class: "kept quiet" }));
  line.textContent = words;
}

function listKept() {
  const units = [...state.kept.values()].sort((a, b) => unsentOf(b.serial) - unsentOf(a.serial) || b.serial.localeCompare(a.serial)); // what is not sent on top
  fill(find("#units"), units.map(({ serial, data }) => el("li", {}, el("a", { href: address(serial), "data-serial": serial },
    el("span", { class: "top-line" }, el("strong", {}, serial), data.holds.length ? el("span", { class: "criticality" }, t("on hold")) : null),
    el("span", { class: "quiet" }, data.unit.family_name.charAt(0).toUpperCase() + data.unit.family_name.slice(1)),
    el("span", { class: "quiet" }, t("{0} answered, {1} {1?stage|stages} signed", data.progress.answered, data.progress.stages_signed))))));
  if (!units.length) fill(find("#problem"), el("div", { class: "banner near" }, el("p", {}, t("No unit was taken along on this tablet. Open this page once with network."))));
}

async function takeAll(fresh) {
  const serials = [...document.querySelectorAll("[data-serial]")].map((link) => link.dataset.serial);
  try {
    const { person } = await outbox.session();
    if (!people.here.unlocked) await store.setMeta("person", person);
    await shell.takeAlong(person.badge, serials, (done, all) => { state.busy = t("Taking along {0} of {1} …", done, all); show(); }, fresh);
    await takeBeside(person.badge);
  } catch (error) {
    // On a shared tablet somebody else was let in meanwhile: the page that they get goes on with it.
    if (error instanceof outbox.SignedOut && online && !people.here.tablet) { location.assign(signInAddress()); return; }
  }
  state.busy = "";
  await show();
}

/** Lot samples, and the gauges that are checked on a master, so that their pages open without network too. */
async function takeBeside(badge) {
  await store.setMeta(`welding ${badge}`, { ...(await outbox.get("/api/v1/weld-sheet")), at: Date.now() });
  await store.setMeta("setups", (await outbox.get("/api/v1/setup-checks")).gauges);
  for (const { dataset: { lot } } of document.querySelectorAll("[data-lot]")) {
    const at = await store.instant();
    await store.setMeta(`lot ${badge} ${lot}`, { data: await outbox.get(`/api/v1/lots/${encodeURIComponent(lot)}/grid`), at });
  }
}

// What is on the tablet opens from there. Of the rest the server knows more: tags, and what lies near a mistyped serial.
const form = find("#scan");
const field = form.elements.serial;
const asksServer = () => (online ? outbox.contact.state !== "no_network" : ["sent", "others"].includes(outbox.contact.state));

function pickUp(typed, event = null) {
  const kept = [...state.kept.keys()].find((serial) => serial.toUpperCase() === typed.trim().toUpperCase());
  if (event && !kept && asksServer()) return;
  event?.preventDefault();
  if (kept) location.assign(address(kept));
  else fill(find("#problem"), el("div", { class: "banner", role: "alert" }, el("p", {}, t("{0} is not on this tablet, and there is no network to look for it.", typed.trim().toUpperCase() || "–"))));
}

form.addEventListener("submit", (event) => pickUp(field.value, event));

/** The server did not answer to what was typed, and this page came from the tablet: look here what it is. */
function lookUp() {
  const typed = !online && new URLSearchParams(location.search).get("serial");
  if (!typed) return;
  field.value = typed;
  pickUp(typed);
}

/** This page came from the tablet, and the server knows by now who works here: it has the whole list. Where that is slow,
 *  and the page comes from the tablet again, once a minute at most. */
if (online) delete sessionStorage.whole;
function whole() {
  const wanted = !online && state.person && outbox.contact.person?.badge === state.person.badge && !state.waiting.length && !state.besides.length;
  if (!wanted || field.value || document.querySelector("dialog[open]") || Date.now() - (sessionStorage.whole ?? 0) < 60000) return;
  sessionStorage.whole = Date.now();
  location.replace(location.pathname);
}

find("#take").addEventListener("click", () => takeAll(0));

await learn(chosen(await store.getMeta("person").catch(() => null)));
outbox.onChange(() => loosely(() => show().then(whole)));
beside.follow(show);
shell.begin(show);
people.begin().then(() => { // not awaited here: the page has loaded while it asks who is there
  show().then(lookUp);
  if (online) takeAll(undefined);
  if (online) setInterval(renew, 60000);
});
outbox.soon(500);
