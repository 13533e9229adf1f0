// Who works on a shared tablet. The keeper enrolled it; a PIN unlocks a person's keys, also without network.
// The entry key signs each entry, so that anybody may send it later under its owner's name.

import { ask, el, fill, find, keypad, typed } from "./dom.js";
import * as outbox from "./outbox.js";
import * as store from "./store.js";
import { learn, t } from "./words.js";

const ROUNDS = 600000; // PBKDF2-SHA-256: the PIN is short, so each guess must cost
const TRIES = 5; // a courtesy: the real limit is the server's
const IDLE = 10 * 60 * 1000;
const EC = { name: "ECDSA", namedCurve: "P-256" };
const SIGN = { name: "ECDSA", hash: "SHA-256" };
const text = new TextEncoder();
const base64 = (buffer) => btoa(String.fromCharCode(...new Uint8Array(buffer)));

/** What this browser is: `tablet` is null where nobody enrolled it, `unlocked` holds the entry key of who works here. */
export const here = { tablet: null, people: [], unlocked: null };
const idle = () => {};
let leave = idle;
let touched = Date.now();

/** The one text of a record (RFC 8785 for what an operation holds): the server signs and compares the same. */
export function canonical(value) {
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  if (value === null || typeof value !== "object") return JSON.stringify(value);
  return `{${Object.keys(value).sort().map((key) => `${JSON.stringify(key)}:${canonical(value[key])}`).join(",")}}`;
}

const signed = async (key, purpose, said) => base64(await crypto.subtle.sign(SIGN, key, text.encode(`${purpose}\n${said}`)));

// ---- keys

/** The key that seals a person's private keys: from the PIN, and from a key that only this tablet has. */
async function sealing(pin, salt) {
  let own = await store.getMeta("tabletKey");
  if (!own) {
    own = await crypto.subtle.generateKey({ name: "HMAC", hash: "SHA-256" }, false, ["sign"]);
    await store.setMeta("tabletKey", own);
  }
  const typedPin = await crypto.subtle.importKey("raw", text.encode(pin), "PBKDF2", false, ["deriveBits"]);
  const slow = await crypto.subtle.deriveBits({ name: "PBKDF2", hash: "SHA-256", salt, iterations: ROUNDS }, typedPin, 256);
  return crypto.subtle.importKey("raw", await crypto.subtle.sign("HMAC", own, slow), "AES-GCM", false, ["wrapKey", "unwrapKey"]);
}

async function newPair(seal) {
  const pair = await crypto.subtle.generateKey(EC, true, ["sign", "verify"]);
  const iv = crypto.getRandomValues(new Uint8Array(12));
  return { open: base64(await crypto.subtle.exportKey("raw", pair.publicKey)), iv, sealed: await crypto.subtle.wrapKey("pkcs8", pair.privateKey, seal, { name: "AES-GCM", iv }) };
}

const unwrap = (pair, seal) => crypto.subtle.unwrapKey("pkcs8", pair.sealed, seal, { name: "AES-GCM", iv: pair.iv }, EC, false, ["sign"]);

async function keepPerson(person) {
  here.people = [...here.people.filter((one) => one.badge !== person.badge), person].sort((a, b) => a.name.localeCompare(b.name));
  await store.setMeta("people", here.people);
}

const fiveWrong = () => t("Five wrong PINs: badge and PIN are checked by the server now. This needs the network.");

/** The person's key for entries or signatures, by the PIN. Raises an Error with a sentence. */
async function keyOf(person, pin, which) {
  if (person.failures >= TRIES) throw new Error(fiveWrong());
  await keepPerson({ ...person, failures: person.failures + 1 }); // counted before it is tried, so that a reload is no way round
  try {
    const key = await unwrap(person[which], await sealing(pin, person.salt));
    await keepPerson({ ...person, failures: 0 });
    return key;
  } catch {
    throw new Error(person.failures + 1 >= TRIES ? t("Wrong PIN, five times. Badge and PIN are checked by the server from now on.") : t("Wrong PIN. Try again."));
  }
}

/** Badge and PIN, checked by the server: the person is on this tablet from then on. */
async function addPerson(badge, pin) {
  const salt = crypto.getRandomValues(new Uint8Array(16));
  const seal = await sealing(pin, salt);
  const [entry, sign] = [await newPair(seal), await newPair(seal)];
  const { ok, body } = await outbox.post("/api/v1/tablet/people", { badge, pin, entry_key: entry.open, sign_key: sign.open }, await outbox.token());
  if (!ok) throw new Error(body.message);
  const { person, key } = body;
  await keepPerson({ badge: person.badge, name: person.name, initials: person.initials, language: person.language, uuid: person.uuid, key, salt, entry, sign, failures: 0 });
  await unlocked(here.people.find((one) => one.badge === person.badge), await unwrap(entry, seal));
}

async function unlocked(person, key) {
  const { badge, name, initials, language } = person;
  const now = { badge, key: person.key, entry: key, at: touched = Date.now() };
  await store.setMeta("unlocked", now);
  here.unlocked = now;
  await store.setMeta("person", { badge, name, initials, language });
}

// ---- what others ask

/** The proof of what whoever works here entered; null where it is another's, or nobody unlocked anything. */
store.proveBy(async (said, badge, purpose) => {
  if (here.unlocked?.badge !== badge) return null;
  return { key: here.unlocked.key, signature: await signed(here.unlocked.entry, purpose, canonical(said)) };
});

/** What proves that whoever works here signs this record, by the PIN and the second key. Raises an Error with a sentence. */
export async function signature(record, pin) {
  const person = here.people.find((one) => one.badge === here.unlocked.badge);
  return { key: person.key, signature: await signed(await keyOf(person, pin, "sign"), "qcapp sign 1", canonical(record)) };
}

/** The session that belongs to whoever works here: the server opens it by the unlocked key. One switch at a time: a
 *  second one that ran beside it would hold the token of the session that the first has just ended. */
let switching = Promise.resolve();
outbox.alignBy((session) => {
  const mine = switching.then(() => aligned(session));
  switching = mine.catch(() => {});
  return mine;
});

async function aligned(session) {
  for (let turn = 0; turn < 3 && belongsToAnother(session); turn += 1) {
    const { nonce } = await outbox.get("/api/v1/tablet");
    const { badge, key, entry } = here.unlocked;
    const { ok, status, body } = await outbox.post("/api/v1/tablet/switch", { key, nonce, signature: await signed(entry, "qcapp switch 1", nonce) }, session.csrf_token);
    if (ok) { await store.holder(true); session = body; break; }
    if (status !== 403) break;
    // A stale token says nothing about the key: look again who is signed in, and with which token.
    if (body.code === "csrf") { session = await outbox.asked(); continue; }
    await keepPerson({ ...here.people.find((one) => one.badge === badge), failures: TRIES });
    await lock();
    break;
  }
  const known = here.people.find((one) => one.badge === session.person?.badge);
  if (known && known.language !== session.person.language) await keepPerson({ ...known, language: session.person.language });
  return session;
}

const belongsToAnother = (session) => here.tablet && here.unlocked && session.person?.badge !== here.unlocked.badge && !session.tablet?.revoked;

// A person without a kept copy gets another's, with nothing of a second inspection in it.
function blind(c) {
  if (!c.second_inspection && c.task !== "settle") return { ...c, may_correct: false, may_repeat: false };
  return { ...c, may_inspect: !c.joint && !Object.keys(c.stands ?? {}).length, outcome: null, answer: null, value: null, base: null, operation: null, conflicting: [], flags: [], flag_sentences: [], report: null, may_correct: false, may_repeat: false,
    task: c.first_given || c.task !== "first" ? "wait" : "first", task_note: t("Whether you may answer here is decided by the server. This needs the network once.") };
}

/** The unit as another person of this tablet took it along, for `person`; null when nobody did. */
export async function borrowed(serial, person) {
  const [kept] = here.tablet ? (await store.unitOfAny(serial)).sort((a, b) => b.at - a.at) : [];
  return kept ? { ...kept, data: { ...kept.data, person, checkpoints: kept.data.checkpoints.map(blind) } } : null;
}

// ---- locking

/** Nobody works here until a PIN says who. Everything entered stays on the tablet and is sent. */
export async function lock() {
  document.body.inert = true; // a tap that is on its way enters nothing
  await away();
  here.unlocked = null;
  await store.setMeta("unlocked", null);
  await store.setMeta("person", null);
  location.reload();
}

/** What is half typed is kept as its owner's draft, and what is being saved is saved, before anybody else comes. */
async function away() {
  leave();
  await store.drafts("~");
  await store.waiting();
}

// In another tab, or on the page that "back" left, somebody else may have unlocked the tablet: nobody goes on here as the former.
async function stillMine() {
  if (!here.unlocked || (await store.getMeta("unlocked").catch(() => here.unlocked))?.badge === here.unlocked?.badge) return here.unlocked;
  await away();
  location.reload();
}

function watch() {
  const late = () => here.unlocked && Date.now() - touched > IDLE;
  for (const kind of ["pointerdown", "keydown"]) {
    addEventListener(kind, (event) => {
      if (!late()) { touched = Date.now(); return; }
      // A tablet that has slept: whoever takes it up is asked first.
      event.preventDefault();
      event.stopPropagation();
      lock();
    }, true);
  }
  for (const kind of ["pageshow", "focus"]) addEventListener(kind, stillMine);
  setInterval(async () => {
    if (!(await stillMine())) return;
    if (late()) lock();
    else if (touched - here.unlocked.at > 30000) store.setMeta("unlocked", { ...here.unlocked, at: touched }).then(() => { here.unlocked.at = touched; });
  }, 5000);
}

/** Find out who works here, and ask when nobody does. `before` keeps what is half typed when somebody else takes over. */
export async function begin(before = () => null) {
  if (leave !== idle) return;
  leave = before;
  const known = whoWorks();
  const who = find("#who");
  who.addEventListener("click", async (event) => { // heard before it is known whose tablet this is: no tap is lost
    event.preventDefault();
    await known;
    if (!here.tablet) location.assign(who.href);
    else if (here.unlocked) change();
  });
  await known;
  if (here.tablet) who.ariaHasPopup = "dialog";
  while (here.tablet && !here.unlocked) await asked(false);
  const mine = here.people.find((one) => one.badge === here.unlocked?.badge);
  if (mine?.language) await learn(mine.language);
}

async function whoWorks() {
  await whatThisIs();
  if (!here.tablet) return;
  const last = await store.getMeta("unlocked");
  const person = await store.holder(true);
  if (last && person?.badge === last.badge && Date.now() - last.at < IDLE) here.unlocked = last;
  watch();
}

async function whatThisIs() {
  here.tablet = (await store.getMeta("tablet")) ?? null;
  here.people = (await store.getMeta("people")) ?? [];
  const asking = outbox.get("/api/v1/tablet").then(async ({ name, place }) => {
    here.tablet = name ? { name, place } : null;
    await store.setMeta("tablet", here.tablet);
  }).catch(() => {});
  if (here.tablet === null && (await store.getMeta("tablet")) === undefined) await asking;
}

/** Somebody else takes the tablet. */
async function change() {
  const before = here.unlocked?.badge;
  await away();
  if (await asked(true) && here.unlocked.badge !== before) location.reload();
}

// ---- asking who

async function asked(mayGoBack) {
  const who = await askWho(mayGoBack);
  if (who === "lock") { await lock(); return false; }
  return who ? askTheirPin(who) : false;
}

function askWho(mayGoBack) {
  return ask(t("Who works on this tablet now?"), (close) => {
    const known = (badge) => here.people.find((one) => one.badge.toUpperCase() === badge.toUpperCase());
    const field = el("input", { "data-first": true, autocomplete: "off", autocapitalize: "characters", spellcheck: "false", maxlength: "20", id: "badge",
      onkeydown: (event) => { if (event.key === "Enter" && field.value.trim()) { event.preventDefault(); close(known(field.value.trim()) ?? { badge: field.value.trim() }); } } });
    return el("div", { class: "picks two", id: "who-works" },
      el("label", { class: "floor-field" }, t("Scan or type your badge"), field),
      here.people.map((one) => el("button", { type: "button", "data-badge": one.badge, onclick: () => close(one) }, el("strong", {}, one.name), el("span", {}, one.badge === here.unlocked?.badge ? t("works here now") : one.initials))),
      mayGoBack ? el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back")), el("button", { type: "button", class: "big", id: "lock", onclick: () => close("lock") }, t("Lock the tablet"))) : null);
  });
}

function askTheirPin(who) {
  return ask(who.name ?? t("Badge {0}", who.badge), (close) => {
    const error = el("p", { class: "typing-error banner", role: "alert", id: "pin-error", hidden: true });
    const field = el("input", { type: "password", inputmode: "none", autocomplete: "off", maxlength: "6", class: "pin-dots", id: "pin", "data-first": true,
      oninput: () => { if (field.value.length === 6) tryIt(); } });
    let busy = false;
    async function tryIt() {
      if (busy || !field.value) return;
      busy = true;
      const known = here.people.find((one) => one.badge === who.badge);
      try {
        if (known && known.failures < TRIES) await unlocked(known, await keyOf(known, field.value, "entry"));
        else await addPerson(who.badge, field.value);
        close(true);
        outbox.soon(0);
      } catch (problem) {
        fill(error, problem instanceof TypeError || problem.name === "TimeoutError" ? (known ? fiveWrong() : t("No network. Who is new on this tablet needs it once.")) : problem.message);
        error.hidden = false;
        field.value = "";
        field.focus();
      }
      busy = false;
    }
    field.addEventListener("keydown", (event) => { if (event.key === "Enter") { event.preventDefault(); tryIt(); } });
    const press = (key) => { if (key === "enter") { tryIt(); return; } field.value = typed(field.value, key); if (field.value.length === 6) tryIt(); };
    return el("div", { class: "pin-row" },
      el("div", { class: "picks" }, el("label", { class: "floor-field" }, t("Your PIN"), field), error),
      keypad(press, { decimals: false, sign: false, enter: t("Unlock") }),
      el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Somebody else"))));
  });
}
