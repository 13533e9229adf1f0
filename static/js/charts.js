// A chart's points say what they are: without this the browser shows their titles after a while and only to a mouse.
// With it the words stand beside the point at once, under the pointer and under the keyboard's focus.

const POINT = ".chart a.c-point";
const tip = document.createElement("p");
tip.className = "chart-tip";
tip.hidden = true;
tip.setAttribute("aria-hidden", "true"); // a screen reader has the same words as the point's name
document.body.append(tip);

/** @param {Element} point */
function show(point) {
  const words = point.getAttribute("aria-label") ?? "";
  if (!words) return;
  tip.textContent = words;
  tip.hidden = false;
  const box = point.getBoundingClientRect();
  const left = Math.min(Math.max(8, box.left + box.width / 2 - tip.offsetWidth / 2), innerWidth - tip.offsetWidth - 8);
  const above = box.top - tip.offsetHeight - 8;
  tip.style.left = `${left + scrollX}px`;
  tip.style.top = `${(above > 0 ? above : box.bottom + 8) + scrollY}px`;
}

function hide() {
  tip.hidden = true;
}

for (const [begin, end] of [["pointerover", "pointerout"], ["focusin", "focusout"]]) {
  document.addEventListener(begin, (event) => {
    const point = event.target instanceof Element ? event.target.closest(POINT) : null;
    if (point) show(point);
  });
  document.addEventListener(end, hide);
}
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") hide();
});
// The browser's own title would say it a second time.
for (const title of document.querySelectorAll(".chart a.c-point > title")) title.remove();
