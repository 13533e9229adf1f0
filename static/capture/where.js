// What lies where, in full, and the last way out: unsent entries saved to a file that the office takes in.

import * as beside from "./beside.js";
import { ask, el } from "./dom.js";
import { contact, soon } from "./outbox.js";
import * as store from "./store.js";
import { t } from "./words.js";

const row = (name, text) => el("p", {}, `${name}: `, el("strong", {}, text));

function byOwner(waiting) {
  const counts = new Map();
  for (const { name, owner, operation, body, label } of waiting) {
    const key = `${name ?? owner}, ${(operation ?? body).serial ?? label}`;
    counts.set(key, (counts.get(key) ?? 0) + 1);
  }
  return [...counts].map(([key, count]) => el("p", {}, `${key}: ${count}`));
}

const LARGEST = 12e6; // characters; the office takes files of 20 MB

/** Everything that waits here, in the shape that the office's page reads, in several files where photos make it large.
 *  Nothing leaves the store. */
async function saveFile() {
  const [waiting, refused, besides] = await Promise.all([store.waiting(), store.refused(), beside.rows()]);
  const rows = [...waiting, ...refused];
  const head = { kind: "qcapp unsent entries", v: 1, device: (await store.getMeta("device")) ?? "", saved_at: new Date().toISOString() };
  let body = { ...head, operations: rows.map((one) => one.operation), proofs: Object.fromEntries(rows.filter((one) => one.proof).map((one) => [one.operation.id, one.proof])), beside: [] };
  let size = 0;
  let number = 1;
  for (const { url, body: said, proof, owner, label, photo } of besides) {
    const content = photo ? await beside.base64(photo) : null;
    size += content?.length ?? 500;
    if (size > LARGEST) { save(body, number); number += 1; size = content?.length ?? 500; body = { ...head, operations: [], proofs: {}, beside: [] }; }
    body.beside.push({ address: decodeURIComponent(url), body: said, proof, owner, label, content });
  }
  save(body, number);
}

function save(body, number) {
  const link = el("a", { href: URL.createObjectURL(new Blob([JSON.stringify(body)], { type: "application/json" })), download: `unsent-${body.saved_at.slice(0, 16).replaceAll(":", "")}${number > 1 ? `-${number}` : ""}.json` });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
}

/** The dialog of the status line. `gauges` are those in hand, as text. */
export async function showWhere(when, person) {
  const waiting = [...await store.waiting(), ...await beside.rows().catch(() => [])].sort((a, b) => a.since - b.since);
  const gauges = Object.values((await store.getMeta("gauges")) ?? {}).join(", ");
  const lasting = await navigator.storage?.persisted?.().catch(() => false);
  await ask(t("What is where"), (close) => el("div", { class: "picks", id: "where-all" },
    row(t("On this tablet, not sent"), waiting.length ? t("{0}, the oldest since {1}", waiting.length, when(waiting[0].since)) : t("nothing")), byOwner(waiting),
    row(t("Last contact with the server"), contact.last ? when(contact.last) : t("none yet")),
    row(t("Works here"), person ?? t("nobody")), gauges ? row(t("Gauge in hand"), gauges) : null,
    row(t("Storage"), lasting ? t("the browser promises to keep it") : t("the browser does not promise to keep it: start from the home screen")),
    waiting.length ? el("p", {}, t("When nothing can be sent for long, save the entries to a file and give it to the quality manager. They stay here too; each counts once.")) : null,
    el("div", { class: "then" }, el("button", { type: "button", class: "big", onclick: () => close(null) }, t("Back")),
      waiting.length ? el("button", { type: "button", class: "big", id: "save-file", onclick: saveFile }, t("Save to a file")) : null,
      el("button", { type: "button", class: "big go", "data-first": true, onclick: () => { close(null); soon(0); } }, t("Send now")))));
}
