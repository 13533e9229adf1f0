// The page without network: the service worker, the promise of the browser to keep the store, the units taken along.

import { el } from "./dom.js";
import * as outbox from "./outbox.js";
import * as store from "./store.js";
import { t } from "./words.js";

const FRESH = 10 * 60 * 1000;
const OLD = 14 * 24 * 3600 * 1000;

/** What stands in the way of working without network, as a sentence; empty when nothing does. */
export const ready = { problem: "…", lasting: true, full: false, waiting: null };

/** Register the worker. `onNews()` is called when it is ready, and when a new version waits. */
export async function begin(onNews) {
  const container = navigator.serviceWorker;
  if (!container) {
    ready.problem = t("This address is not HTTPS, so the pages cannot be opened without network.");
    onNews();
    return;
  }
  try {
    const registration = await container.register("/sw.js", { updateViaCache: "none" });
    watch(registration, onNews);
    const active = (await container.ready).active;
    active.postMessage("check");
    ready.lasting = (await navigator.storage?.persist?.()) ?? false;
    const { usage = 0, quota = 1 } = (await navigator.storage?.estimate?.()) ?? {};
    ready.full = usage > 0.8 * quota;
    ready.problem = "";
  } catch {
    // Offline the script cannot be fetched again; the worker that is in charge goes on.
    ready.problem = container.controller ? "" : t("The browser did not take the pages along.");
  }
  onNews();
}

function watch(registration, onNews) {
  const look = () => {
    ready.waiting = navigator.serviceWorker.controller ? registration.waiting : null;
    onNews();
  };
  look();
  registration.addEventListener("updatefound", () => registration.installing?.addEventListener("statechange", look));
  document.addEventListener("visibilitychange", () => { if (document.visibilityState === "visible") registration.update().catch(() => {}); });
}

/** The button that changes to the new version; `mayGo()` says whether nothing is half entered. */
export function updateButton(mayGo) {
  if (!ready.waiting) return null;
  return el("button", { type: "button", id: "update", onclick: () => {
    if (!mayGo()) return;
    navigator.serviceWorker.addEventListener("controllerchange", () => location.reload(), { once: true });
    ready.waiting.postMessage("take over");
  } }, t("New version ready: change now"));
}

/** Fetch these units into the store, those first that are not there. `onStep(done, all)` after each. Gives the serials it got. */
export async function takeAlong(badge, serials, onStep = () => {}, fresh = FRESH) {
  const kept = new Map((await store.keptUnits(badge)).map((unit) => [unit.serial, unit.at]));
  for (const [serial, at] of kept) if (!serials.includes(serial) && Date.now() - at > OLD) await store.forgetUnit(badge, serial);
  const wanted = serials.filter((serial) => Date.now() - (kept.get(serial) ?? 0) > fresh).sort((a, b) => (kept.get(a) ?? 0) - (kept.get(b) ?? 0));
  const got = [];
  for (const serial of wanted) {
    const at = await store.instant();
    const data = await outbox.get(`/api/v1/units/${encodeURIComponent(serial)}/bench`);
    await store.keepUnit(data.person.badge, serial, data, at);
    got.push(serial);
    onStep(got.length, wanted.length);
  }
  return got;
}
