"""Pieces of JavaScript that the tests run inside the page."""

from __future__ import annotations

STORED = """
name => new Promise((resolve) => {
    indexedDB.open("qcapp").onsuccess = (event) => {
        const db = event.target.result;
        db.transaction(name).objectStore(name).getAll().onsuccess = (asked) => {
            db.close();
            resolve(asked.target.result);
        };
    };
})
"""

# The first entry that was sent goes out once more, under the same key with another answer.
REUSE_A_KEY = """
() => new Promise((done) => {
    indexedDB.open("qcapp").onsuccess = ({ target: { result: db } }) => {
        const t = db.transaction(["sent", "outbox"], "readwrite");
        t.objectStore("sent").getAll().onsuccess = (event) => {
            const [{ seq, at, verdict, ...row }] = event.target.result;
            row.operation = { ...row.operation, answer: { count: 9 }, raw: "9" };
            t.objectStore("outbox").add(row);
        };
        t.oncomplete = () => { db.close(); done(); };
    };
})
"""

# From now on every entry's transaction breaks off, as on a full or worn medium; `heal()` ends it.
BREAK_THE_STORE = """
() => {
    const add = IDBObjectStore.prototype.add;
    IDBObjectStore.prototype.add = function (...given) {
        const asked = add.apply(this, given);
        this.transaction.abort();
        return asked;
    };
    window.heal = () => { IDBObjectStore.prototype.add = add; };
}
"""

# From now on the medium has no room for an entry: the browser refuses it as it does at its quota. `heal()` ends it.
FILL_THE_STORE = """
() => {
    const add = IDBObjectStore.prototype.add;
    IDBObjectStore.prototype.add = function () {
        throw new DOMException("The quota has been exceeded.", "QuotaExceededError");
    };
    window.heal = () => { IDBObjectStore.prototype.add = add; };
}
"""

KEPT_TEXTS = """
async () => {
    const texts = [];
    for (const name of await caches.keys()) {
        const cache = await caches.open(name);
        for (const asked of await cache.keys()) texts.push(await (await cache.match(asked)).text());
    }
    return texts.join("\\n");
}
"""

BOXES = """
nodes => nodes.filter((node) => node.offsetParent).map((node) => {
    const box = node.getBoundingClientRect();
    return { x: box.x, y: box.y, w: box.width, h: box.height, name: node.innerText };
})
"""

# What is wider than the screen: the page itself, and words that spill out of what is pressed.
SIDEWAYS = """
() => {
    const wrong = [], { scrollWidth } = document.documentElement;
    if (scrollWidth > innerWidth) wrong.push(`the page is ${scrollWidth} wide`);
    for (const one of document.querySelectorAll("button, a")) {
        const { width } = one.getBoundingClientRect();
        if (width > 2 && one.checkVisibility() && one.scrollWidth > width + 2) wrong.push(`spills: ${one.innerText}`);
    }
    return wrong;
}
"""

# What is pressed and is lower or narrower than a glove needs; a box to tick is pressed by its label.
SMALL = """
() => [...document.querySelectorAll("button, a, select, summary, input:not([type=checkbox]):not([type=radio])")]
    .filter((one) => one.checkVisibility() && one.offsetParent && !one.closest(".out-of-sight"))
    .map((one) => [one.getBoundingClientRect(), one])
    .filter(([{ width, height }]) => height && Math.min(width, height) < 55.5)
    .map(([{ width, height }, one]) => `${one.tagName} ${one.innerText} ${width} by ${height}`)
"""

AT_NIGHT = "matchMedia('(prefers-color-scheme: dark)').matches"

# The colours of a text and of the nearest painted ground behind it.
COLOURS = """
selector => {
    const node = document.querySelector(selector);
    const painted = (one) => getComputedStyle(one).backgroundColor;
    let ground = node;
    while (/rgba\\(.*, 0\\)|transparent/.test(painted(ground))) ground = ground.parentElement;
    return [getComputedStyle(node).color, painted(ground)];
}
"""

SIGN_OUT = """
async () => {
    const { csrf_token } = await (await fetch("/api/v1/session")).json();
    await fetch("/api/v1/session", { method: "DELETE", headers: { "X-CSRFToken": csrf_token } });
}
"""

# Who works on this tablet, as its store says.
HOLDER = """new Promise((resolve) => {
    indexedDB.open("qcapp").onsuccess = ({ target: { result: db } }) => {
        db.transaction("meta").objectStore("meta").get("person").onsuccess = (asked) => {
            db.close();
            resolve(asked.target.result);
        };
    };
})"""

# The life of the server that this tablet sends to; another one means a restored backup.
KNOWN_EPOCH = """() => new Promise((resolve) => {
    indexedDB.open("qcapp").onsuccess = ({ target: { result: db } }) => {
        db.transaction("meta").objectStore("meta").get("epoch").onsuccess = (asked) => {
            db.close();
            resolve(asked.target.result ?? null);
        };
    };
})"""

# The language of each person whom a shared tablet knows, by badge.
KEPT_LANGUAGES = """new Promise((resolve) => {
    indexedDB.open("qcapp").onsuccess = ({ target: { result: db } }) => {
        db.transaction("meta").objectStore("meta").get("people").onsuccess = (asked) => {
            db.close();
            resolve(Object.fromEntries(asked.target.result.map((one) => [one.badge, one.language])));
        };
    };
})"""

# Something that the browser may lose: written, and not flushed.
MARK_RELAXED = """
() => new Promise((resolve) => {
    indexedDB.open("qcapp").onsuccess = ({ target: { result: db } }) => {
        const written = db.transaction("meta", "readwrite", { durability: "relaxed" });
        written.objectStore("meta").put("only written", "marked");
        written.oncomplete = () => { db.close(); resolve(); };
    };
})
"""
MARKED = """
() => new Promise((resolve) => {
    indexedDB.open("qcapp").onsuccess = ({ target: { result: db } }) => {
        db.transaction("meta").objectStore("meta").get("marked").onsuccess = (asked) => {
            db.close();
            resolve(asked.target.result ?? null);
        };
    };
})
"""

# Safari closes the handle of a page in the background without telling it. The next use gives it away.
CLOSE_THE_HANDLE = """
() => new Promise((resolve) => {
    const { transaction } = IDBDatabase.prototype;
    IDBDatabase.prototype.transaction = function (...given) {
        IDBDatabase.prototype.transaction = transaction;
        const begun = transaction.apply(this, given);
        this.close();
        resolve();
        return begun;
    };
    dispatchEvent(new Event("online"));
})
"""

NEWER_STORE = """
() => new Promise((resolve) => {
    indexedDB.open("qcapp", 3).onsuccess = ({ target: { result: db } }) => { db.close(); resolve(db.version); };
})
"""
