"""What the floor's benchmark runs inside the page."""

from __future__ import annotations

# From the time stamp of the Enter to the frame that shows the verdict: the callback of the frame in which it is there,
# and after its painting the first message. An Enter that asks for the gauge first is not counted.
WATCH = """
() => {
    window.took = window.took ?? JSON.parse(sessionStorage.getItem("took") ?? "[]");
    window.asked = false;
    addEventListener("keydown", (event) => {
        if (event.key !== "Enter" || event.target.id !== "value") return;
        const look = () => requestAnimationFrame(() => {
            if (window.asked || document.querySelector("dialog[open]")) return;
            if (!document.querySelector(".verdict")) { look(); return; }
            const painted = new MessageChannel();
            painted.port1.onmessage = () => {
                window.took.push(performance.now() - event.timeStamp);
                sessionStorage.setItem("took", JSON.stringify(window.took));
            };
            painted.port2.postMessage(null);
        });
        look();
    }, true);
}
"""

# Results and photos as the page itself keeps them, put into its stores at once.
BACKLOG = """
async ({ operations, photos, badge }) => {
    const open = (name) => new Promise((resolve) => {
        indexedDB.open(name).onsuccess = (event) => resolve(event.target.result);
    });
    const done = (t) => new Promise((resolve) => { t.oncomplete = resolve; });
    const results = (await open("qcapp")).transaction("outbox", "readwrite");
    const since = Date.now();
    for (const operation of operations) {
        results.objectStore("outbox").add({ operation, owner: badge, name: "", proof: null, since });
    }
    await done(results);
    const db = await open("qcapp-beside");
    for (const { jpeg, ...body } of photos) {
        const photo = Uint8Array.from(atob(jpeg), (letter) => letter.charCodeAt(0)).buffer;
        const own = crypto.randomUUID();
        const t = db.transaction("rows", "readwrite");
        const row = { id: own, owner: badge, name: "", since, label: "", photo, refused: "" };
        t.objectStore("rows").add({ ...row, url: "/api/v1/photos", body: { id: own, ...body } });
        await done(t);
    }
    window.left = async () => {
        const count = (name, rows) => new Promise((resolve) => {
            indexedDB.open(name).onsuccess = ({ target: { result } }) => {
                result.transaction(rows).objectStore(rows).count().onsuccess = (asked) => {
                    result.close();
                    resolve(asked.target.result);
                };
            };
        });
        return (await count("qcapp", "outbox")) + (await count("qcapp-beside", "rows"));
    };
}
"""

SYNCED = """
async () => {
    const begun = performance.now();
    dispatchEvent(new Event("online"));
    while (await window.left()) {
        if (performance.now() - begun > 60000) throw new Error("not sent within a minute");
        await new Promise((resolve) => setTimeout(resolve, 5));
    }
    return performance.now() - begun;
}
"""

SHOWN = """
new MutationObserver((changes, watch) => {
    if (!document.querySelector("#question")) return;
    watch.disconnect();
    requestAnimationFrame(() => {
        const painted = new MessageChannel();
        painted.port1.onmessage = () => { window.shownAfter = performance.now(); };
        painted.port2.postMessage(null);
    });
}).observe(document, { childList: true, subtree: true });
"""
PAINTED = "() => window.shownAfter ?? 0"
