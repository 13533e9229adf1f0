"""Pieces of JavaScript that the tests run inside the page."""

from __future__ import annotations

# Everything that a page can show is there to be looked at.
OPEN_ALL = "() => { for (const one of document.querySelectorAll('details')) one.open = true; }"

# Of rows, list entries and points that are built alike, one is left: axe would say the same of each, and takes long.
LEAVE_ONE_OF_EACH_KIND = """
() => {
    const kind = (one) => `${one.tagName} ${one.getAttribute("class")} ${one.getAttributeNames()}`;
    for (const parent of new Set([...document.querySelectorAll("tr, li, svg a, svg g")].map((one) => one.parentNode))) {
        const seen = new Set();
        for (const one of [...parent.children]) {
            const shape = [one, ...one.querySelectorAll("*")].map(kind).join("/");
            if (seen.has(shape)) one.remove();
            seen.add(shape);
        }
    }
}
"""

# Language, title, one heading of the first level, one main part; what a label or an error is tied to is there.
STRUCTURE = """
() => {
    const wrong = [];
    if (!document.documentElement.lang) wrong.push("no language");
    if (!document.title.trim()) wrong.push("no title");
    for (const what of ["h1", "main"]) {
        const number = [...document.querySelectorAll(what)].filter((one) => one.checkVisibility()).length;
        if (number !== 1) wrong.push(`${number} ${what}`);
    }
    for (const table of document.querySelectorAll("table")) {
        if (!table.querySelector("th")) wrong.push(`table without headers: ${table.innerText.slice(0, 60)}`);
    }
    for (const one of document.querySelectorAll("[aria-describedby], [aria-labelledby], label[for]")) {
        const named = ["aria-describedby", "aria-labelledby", "for"].map((name) => one.getAttribute(name) ?? "");
        for (const id of named.join(" ").split(" ").filter(Boolean)) {
            if (!document.getElementById(id)) wrong.push(`nothing has the id ${id}`);
        }
    }
    return wrong;
}
"""

# What is wider than the page, what scrolls sideways and is neither table nor drawing, what is cut off.
SIDEWAYS = """
() => {
    const wrong = [], wide = document.documentElement.clientWidth;
    const size = (one) => `${one.scrollWidth}>${one.clientWidth}`;
    const named = (one) => `${one.tagName}.${one.getAttribute("class")}#${one.id} ${size(one)}`;
    const held = (one) => {
        for (let up = one.parentElement; up && up !== document.body; up = up.parentElement)
            if (getComputedStyle(up).overflowX !== "visible") return true;
        return false;
    };
    if (document.scrollingElement.scrollWidth > wide) {
        for (const one of document.querySelectorAll("body *"))
            if (one.getBoundingClientRect().right > wide + 1 && !held(one)) wrong.push(`beyond: ${named(one)}`);
        wrong.splice(4);
        wrong.unshift(`the page is ${document.scrollingElement.scrollWidth} wide`);
    }
    for (const one of document.querySelectorAll("body *")) {
        if (one.scrollWidth <= one.clientWidth + 1 || one.clientWidth <= 1) continue;
        const { overflowX } = getComputedStyle(one);
        const twofold = "table, svg, img, pre, input[type=image]";
        const framed = one.matches("pre, textarea, input, select") || one.querySelector(twofold);
        if (/auto|scroll/.test(overflowX) && !framed) wrong.push(`scrolls sideways: ${named(one)}`);
        const apart = one.closest("svg") || one.matches("input, select");
        if (/hidden|clip/.test(overflowX) && !apart) wrong.push(`cut off: ${named(one)}`);
    }
    return wrong;
}
"""

# The longest transition and animation of anything on the page, in seconds, and what moves just now.
MOVING = """
() => {
    let longest = 0;
    const seconds = (text) => Math.max(...text.split(",").map((one) => parseFloat(one) * (/ms/.test(one) ? 0.001 : 1)));
    for (const one of document.querySelectorAll("*")) {
        const style = getComputedStyle(one);
        longest = Math.max(longest, seconds(style.transitionDuration), seconds(style.animationDuration));
        if (style.scrollBehavior === "smooth") longest = Math.max(longest, 1);
    }
    return [longest, document.getAnimations().length];
}
"""

# What has the focus: whether it is what the selector names, its words, and whether its ring can be seen.
FOCUS = """
(selector) => {
    const one = document.activeElement;
    if (!one || one === document.body) return null;
    const ringed = (node) => {
        const style = node && getComputedStyle(node);
        return Boolean(style) && style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
    };
    const box = one.getBoundingClientRect(), label = one.closest("label");
    const seen = [0.1, 0.5, 0.9].some((x) => [0.1, 0.5, 0.9].some((y) => {
        const top = document.elementFromPoint(box.x + box.width * x, box.y + box.height * y);
        return top && (one.contains(top) || top.contains(one) || label?.contains(top));
    }));
    return {
        here: Boolean(selector) && one.matches(selector), ringed: ringed(one) || ringed(label), seen,
        words: `${one.outerHTML.slice(0, 90)} ${one.innerText ?? ""}`.slice(0, 140),
    };
}
"""

# Every form that is sent: where to, and what it holds hidden.
FORMS = """
() => [...document.forms].filter((form) => form.getAttribute("method") === "post").map((form) => {
    const hidden = [...form.querySelectorAll("input[type=hidden]")].filter((one) => one.name !== "csrfmiddlewaretoken");
    const { pathname, search } = new URL(form.getAttribute("action") || location.href, location.href);
    return [pathname + search, Object.fromEntries(hidden.map((one) => [one.name, one.value]))];
})
"""
