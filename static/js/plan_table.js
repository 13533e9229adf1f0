// The table of a draft, edited in place: one cell at a time becomes an input. The server has the last word on
// every cell; what it refuses stays in the cell with its sentence. Requests go out one after the other.

import { t } from "./words.js";

const editor = document.getElementById("editor");
const sheet = document.getElementById("sheet");
const body = document.getElementById("rows");
const panel = document.getElementById("panel");
const said = document.getElementById("said");
const refusedLine = document.getElementById("refused");
const undoButton = document.getElementById("undo");

const state = {
  stage: editor.dataset.stage,
  columns: editor.dataset.columns,
  version: Number(editor.dataset.version),
  anchor: null, // where a choice of several rows began
  chosen: new Set(),
  refused: new Map(), // "row column" → { text, message }
  input: null,
};

// ------------------------------------------------------------------------------------------------ requests

let queue = Promise.resolve();

function inTurn(task) {
  queue = queue.then(task, task);
  return queue;
}

async function post(path, fields) {
  const form = new URLSearchParams();
  const all = { stage: state.stage, columns: state.columns, ...fields };
  for (const [name, value] of Object.entries(all)) {
    for (const one of Array.isArray(value) ? value : [value]) form.append(name, one);
  }
  const headers = { "X-CSRFToken": editor.dataset.token, Accept: "application/json" };
  let answer;
  try {
    answer = await fetch(`${editor.dataset.address}draft/${path}/`, { method: "POST", body: form, headers });
  } catch {
    return { ok: false, message: t("The server cannot be reached; nothing was saved. Check the connection and press Enter again.") };
  }
  if (answer.status === 401) return signInAgain(await answer.json());
  const data = (answer.headers.get("Content-Type") || "").includes("json") ? await answer.json() : { message: t("Something went wrong here; reload the page.") };
  return { ok: answer.ok, ...data };
}

function signInAgain(data) {
  window.location.href = data.sign_in || "/sign-in/";
  return { ok: false, message: data.message };
}

function draw(data) {
  state.version = data.version;
  if (data.body !== undefined) {
    body.innerHTML = data.body;
    state.stage = data.stage;
    document.getElementById("stages").innerHTML = data.nav;
    state.chosen.clear();
  } else {
    for (const [id, html] of Object.entries(data.rows)) replaceRow(id, html);
  }
  document.getElementById("look-at").innerHTML = data.look_at;
  const here = body.querySelector("tr.here");
  if (data.panel && !panel.contains(state.input) && (!here || here.dataset.row === String(data.focus))) showPanel(data.panel);
  if (data.said) said.textContent = data.said;
  undoButton.disabled = !data.undo;
  undoButton.title = data.undo ? `Ctrl + Z: ${data.undo}` : "Ctrl + Z";
  showRefused();
}

function replaceRow(id, html) {
  const old = document.getElementById(`row-${id}`);
  if (!old) return;
  if (state.input && old.contains(state.input)) {
    state.input.waiting = html; // drawn when the cell is left
    return;
  }
  const focused = old.contains(document.activeElement) ? document.activeElement.cellIndex : -1;
  const classes = old.className;
  const box = document.createElement("template");
  box.innerHTML = html.trim();
  const fresh = box.content.firstElementChild;
  old.replaceWith(fresh);
  for (const name of ["here", "chosen"]) if (classes.split(" ").includes(name)) fresh.classList.add(name);
  if (focused >= 0) focusCell(fresh.cells[focused]);
}

// ---------------------------------------------------------------------------------------- where one is

const cellOf = (element) => element && element.closest && element.closest(".sheet td[data-column]");
const rowOf = (cell) => cell.parentElement;
const current = () => cellOf(document.activeElement) || sheet.querySelector("td[tabindex='0']");
const keyOf = (cell) => `${rowOf(cell).dataset.row} ${cell.dataset.column}`;
const textOf = (cell) => (cell.dataset.text !== undefined ? cell.dataset.text : cell.classList.contains("number") ? cell.textContent.replaceAll("−", "-") : cell.textContent);

function focusCell(cell) {
  if (!cell || cell.dataset.column === undefined) return;
  const table = cell.closest(".sheet");
  for (const other of table.querySelectorAll("td[tabindex='0']")) other.tabIndex = -1;
  cell.tabIndex = 0;
  cell.focus({ preventScroll: true });
  cell.scrollIntoView({ block: "nearest", inline: "nearest" });
}

function goTo(row, column) {
  const line = document.getElementById(`row-${row}`);
  if (!line) return false;
  const cell = [...line.cells].find((one) => one.dataset.column === column);
  if (cell) focusCell(cell);
  else focusCell(line.cells[0]);
  return true;
}

function neighbour(cell, down, right) {
  const rows = [...cell.closest("tbody").rows];
  const line = rows[rows.indexOf(rowOf(cell)) + down];
  const next = line && line.cells[cell.cellIndex + right];
  return next && next.dataset.column !== undefined ? next : null;
}

function chosenRows() {
  if (state.chosen.size) return [...body.rows].map((row) => row.dataset.row).filter((id) => state.chosen.has(id));
  const cell = current();
  return cell ? [rowOf(cell).dataset.row] : [];
}

function choose(from, to) {
  const rows = [...body.rows];
  const [first, last] = [rows.indexOf(from), rows.indexOf(to)].sort((a, b) => a - b);
  state.chosen = new Set(rows.slice(first, last + 1).map((row) => row.dataset.row));
  for (const row of rows) row.classList.toggle("chosen", state.chosen.has(row.dataset.row));
}

function unchoose() {
  state.anchor = null;
  if (!state.chosen.size) return;
  state.chosen.clear();
  for (const row of body.querySelectorAll("tr.chosen")) row.classList.remove("chosen");
}

document.addEventListener("focusin", (event) => {
  const cell = cellOf(event.target);
  if (!cell || !sheet.contains(cell)) return;
  const row = rowOf(cell);
  for (const other of body.querySelectorAll("tr.here")) if (other !== row) other.classList.remove("here");
  if (!row.classList.contains("here")) {
    row.classList.add("here");
    wantPanel(row.dataset.row);
  }
  showRefused();
});

// ------------------------------------------------------------------------------------------------- panel

let waiting = 0;

function wantPanel(row, query = "") {
  clearTimeout(waiting);
  const shown = panel.querySelector("[data-panel-row]");
  if (!query && shown && shown.dataset.panelRow === row) return;
  waiting = setTimeout(async () => {
    const answer = await fetch(`${editor.dataset.address}draft/rows/${row}/${query}`, { headers: { Accept: "text/html" } }).catch(() => null);
    if (!answer || !answer.ok) return;
    const html = await answer.text();
    const here = body.querySelector("tr.here");
    if (!state.input && (!here || here.dataset.row === row)) showPanel(html);
  }, 120);
}

function showPanel(html) {
  const focused = panel.contains(document.activeElement) ? document.activeElement : null;
  const name = focused && (focused.name || focused.dataset.column);
  const ends = focused && focused.selectionStart;
  panel.innerHTML = html;
  if (!name) return;
  const again = panel.querySelector(`input[name="${name}"]`) || panel.querySelector(`td[data-column="${name}"]`);
  if (again && again.tagName === "INPUT") {
    again.focus();
    again.setSelectionRange(ends, ends);
  } else if (again) focusCell(again);
}

panel.addEventListener("input", (event) => {
  const form = event.target.closest("#tried");
  if (form) wantPanel(panel.querySelector("[data-panel-row]").dataset.panelRow, `?${new URLSearchParams(new FormData(form))}`);
});
panel.addEventListener("submit", (event) => event.preventDefault());

// ----------------------------------------------------------------------------------------------- editing

// A field that means nothing for the row's kind, unless the kind is being changed at this moment.
function isClosed(cell) {
  return cell.getAttribute("aria-readonly") === "true" && !rowOf(cell).querySelector(".saving");
}

function edit(cell, typed = null) {
  if (!cell || state.input || isClosed(cell)) return;
  const was = textOf(cell);
  const kept = state.refused.get(keyOf(cell));
  const input = document.createElement("input");
  input.value = typed !== null ? typed : kept ? kept.text : was;
  input.autocomplete = "off";
  input.spellcheck = false;
  input.setAttribute("aria-label", t("{0} of {1}", headOf(cell.dataset.column), rowOf(cell).cells[0].textContent));
  if (cell.dataset.list) input.setAttribute("list", `list-${cell.dataset.list}`);
  state.input = input;
  input.cell = cell;
  input.was = was;
  input.shown = kept ? kept.shown : cell.innerHTML;
  cell.replaceChildren(input);
  cell.classList.add("editing");
  input.focus();
  if (typed === null) input.select();
  input.addEventListener("input", () => tryLater(cell, input));
  input.addEventListener("blur", () => {
    if (state.input === input) leave(true);
  });
}

let trying = 0;

function tryLater(cell, input) {
  clearTimeout(trying);
  if (panel.contains(cell)) return;
  trying = setTimeout(async () => {
    const text = input.value;
    const data = await post("cell", { row: rowOf(cell).dataset.row, column: cell.dataset.column, text, try: "yes" });
    if (state.input !== input || input.value !== text) return;
    if (data.ok) showPanel(data.panel);
    refusedLine.hidden = data.ok;
    refusedLine.textContent = data.ok ? "" : data.message;
  }, 220);
}

function leave(save) {
  const input = state.input;
  if (!input) return null;
  clearTimeout(trying);
  state.input = null;
  let { was, cell } = input;
  const text = input.value.trim();
  const changed = text !== was;
  cell.innerHTML = input.shown;
  cell.classList.remove("editing");
  if (input.waiting) {
    const { row } = rowOf(cell).dataset;
    const index = cell.cellIndex;
    replaceRow(row, input.waiting);
    cell = document.getElementById(`row-${row}`).cells[index];
    was = textOf(cell); // the answer to what was typed before: a new kind brings values of its own
  }
  if (!save && state.refused.delete(keyOf(cell))) {
    cell.classList.remove("refused");
    cell.removeAttribute("title");
  }
  if (save && changed) keep(cell, text, was);
  else if (save) state.refused.delete(keyOf(cell));
  showRefused();
  return cell;
}

function keep(cell, text, was) {
  const key = keyOf(cell);
  const [row, column] = [rowOf(cell).dataset.row, cell.dataset.column];
  const inPanel = panel.contains(cell);
  const before = state.refused.get(key);
  const shown = before ? before.shown : cell.innerHTML;
  state.refused.delete(key);
  cell.textContent = text;
  cell.classList.remove("refused");
  cell.classList.add("saving");
  inTurn(async () => {
    const data = await post("cell", { row, column, text, was });
    if (data.ok) {
      draw(data);
      if (inPanel && data.panel && !state.input) showPanel(data.panel);
      const line = document.getElementById(`row-${row}`);
      if (line) for (const one of line.querySelectorAll(".saving")) one.classList.remove("saving");
      return;
    }
    refuse(key, row, column, { text, was, shown }, data);
  });
}

function refuse(key, row, column, { text, was, shown }, data) {
  const now = data.code === "changed_meanwhile" && data.details ? data.details.now : undefined;
  const line = document.getElementById(`row-${row}`);
  const where = `${line ? line.cells[0].textContent : ""} ${headOf(column)}`.trim();
  state.refused.set(key, { text, shown: now === undefined ? shown : now, message: `${where}: ${data.message}` });
  const cell = cellAt(row, column);
  if (cell) {
    cell.classList.remove("saving");
    cell.dataset.text = now !== undefined ? now : was;
  }
  showRefused();
}

const cellAt = (row, column) => document.querySelector(`.sheet tr[data-row="${row}"] td[data-column="${column}"]`);

function showRefused() {
  for (const [key, { text, message }] of state.refused) {
    const [row, column] = key.split(" ");
    const cell = cellAt(row, column);
    if (!cell || (state.input && state.input.cell === cell)) continue;
    cell.classList.add("refused");
    cell.title = message;
    cell.textContent = text;
  }
  const cell = state.input ? state.input.cell : current();
  const here = (cell && state.refused.get(keyOf(cell))) || [...state.refused.values()][0];
  refusedLine.hidden = !here;
  refusedLine.textContent = here ? here.message : "";
}

// Gives up what was refused: the cell says again what is kept.
function giveUp(cell) {
  const kept = state.refused.get(keyOf(cell));
  if (!kept) return unchoose();
  state.refused.delete(keyOf(cell));
  cell.innerHTML = kept.shown;
  cell.classList.remove("refused");
  cell.removeAttribute("title");
  return showRefused();
}

// ------------------------------------------------------------------------------------------------- rows

function act(name, fields = {}) {
  return inTurn(async () => {
    const cell = current();
    const column = cell ? cell.dataset.column : "title";
    const ids = chosenRows();
    const at = cell ? rowOf(cell).dataset.row : "";
    const data = await post("rows", { act: name, ids, beside: at, version: state.version, ...fields });
    if (!data.ok) {
      refusedLine.hidden = false;
      refusedLine.textContent = data.message;
      if (data.code === "changed_meanwhile") state.version = data.details.version;
      return data;
    }
    draw(data);
    const moved = ["up", "down", "place"].includes(name);
    if (data.focus) goTo(String(data.focus), name === "insert" ? "title" : column);
    if (moved && ids.length > 1) restore(ids);
    if (name === "insert") edit(current());
    return data;
  });
}

function restore(ids) {
  const rows = ids.map((id) => document.getElementById(`row-${id}`)).filter(Boolean);
  if (rows.length) choose(rows[0], rows[rows.length - 1]);
}

document.querySelector(".tools").addEventListener("click", (event) => {
  const button = event.target.closest("button[data-act]");
  if (!button) return;
  if (button.dataset.act === "many") askMany();
  else act(button.dataset.act, button.dataset.act === "renumber" ? { stage: stageHere() } : {});
});

function stageHere() {
  const cell = current();
  return cell ? rowOf(cell).dataset.stage : state.stage;
}

const many = document.getElementById("many");

function askMany() {
  const ids = chosenRows();
  document.getElementById("many-count").textContent = ids.length === 1 ? t("one checkpoint") : t("{0} checkpoints", ids.length);
  document.getElementById("many-error").textContent = "";
  const cell = current();
  const select = document.getElementById("many-column");
  if (cell && [...select.options].some((one) => one.value === cell.dataset.column)) select.value = cell.dataset.column;
  many.returnValue = "no";
  many.showModal();
}

many.querySelector("form").addEventListener("submit", async (event) => {
  if (event.submitter && event.submitter.value !== "yes") return;
  event.preventDefault();
  const [column, text] = [document.getElementById("many-column").value, document.getElementById("many-text").value];
  const data = await act("set", { column, text });
  if (data.ok) {
    many.close();
    focusCell(current());
  } else document.getElementById("many-error").textContent = data.message;
});

// ------------------------------------------------------------------------------------------------ pasting

const pasteBox = document.getElementById("paste");

document.addEventListener("paste", (event) => {
  if (state.input || event.target.closest("input, select, textarea, dialog")) return;
  const cell = current();
  const text = event.clipboardData.getData("text/plain");
  if (!cell || !sheet.contains(cell) || !text) return;
  event.preventDefault();
  lookAtPaste(cell, text);
});

const wouldChange = (count) => (count === 1 ? t("1 checkpoint would change") : t("{0} checkpoints would change", count));

async function lookAtPaste(cell, text) {
  const heads = { row: rowOf(cell).dataset.row, column: HEADS[cell.cellIndex], text };
  const data = await post("paste", heads);
  const changes = document.getElementById("paste-changes");
  document.getElementById("paste-yes").hidden = !data.ok || !data.count;
  if (data.ok) changes.innerHTML = data.changes;
  else changes.replaceChildren(listOf(data));
  document.getElementById("paste-count").textContent = data.ok ? wouldChange(data.count) : t("nothing was changed");
  pasteBox.returnValue = "no";
  pasteBox.showModal();
  pasteBox.onclose = () => {
    if (pasteBox.returnValue !== "yes") return focusCell(current());
    inTurn(async () => {
      const done = await post("paste", { ...heads, keep: "yes", version: data.version });
      if (done.ok) {
        draw(done);
        goTo(heads.row, cell.dataset.column);
      } else {
        refusedLine.hidden = false;
        refusedLine.textContent = done.message;
      }
    });
  };
}

// The names of the columns as the server knows them, in the order of the table.
const HEADS = editor.dataset.heads.split(" ");

/** What a column is called: by its head in the table, or in the choice of fields; a column of neither by its name. */
function headOf(column) {
  const head = sheet.tHead.rows[0].cells[HEADS.indexOf(column)] ?? document.querySelector(`#many-column option[value="${column}"]`);
  return head ? head.textContent.replaceAll("\u00ad", "") : column.replaceAll("_", " "); // without the head's soft hyphens
}

function listOf(data) {
  const list = document.createElement("ul");
  const lines = data.findings && data.findings.length ? data.findings.map((f) => `${f.cell || t("row {0}", f.line)}, ${headOf(f.column)}: ${f.message}`) : [];
  for (const text of [data.message, ...lines]) {
    const item = document.createElement("li");
    item.textContent = text;
    list.append(item);
  }
  return list;
}

// --------------------------------------------------------------------------------------------- the keyboard

const ARROWS = { ArrowUp: [-1, 0], ArrowDown: [1, 0], ArrowLeft: [0, -1], ArrowRight: [0, 1] };

function whileEditing(event) {
  if (event.key === "Escape") {
    event.preventDefault();
    focusCell(leave(false));
  } else if (event.key === "Enter") {
    event.preventDefault();
    const cell = leave(true);
    focusCell(neighbour(cell, event.shiftKey ? -1 : 1, 0) || cell);
  } else if (event.key === "Tab") {
    event.preventDefault();
    const cell = leave(true);
    focusCell(neighbour(cell, 0, event.shiftKey ? -1 : 1) || cell);
  }
}

function withControl(event, cell) {
  const name = { Enter: "insert", d: "duplicate", Delete: "delete", Backspace: "delete", z: "undo" }[event.key];
  if (!name) return false;
  act(name, name === "insert" && event.shiftKey ? { below: "no" } : {});
  return true;
}

function moveTo(event, cell) {
  const [down, right] = ARROWS[event.key];
  const next = neighbour(cell, down, right);
  if (event.shiftKey && down && sheet.contains(cell)) {
    state.anchor = state.anchor || rowOf(cell);
    if (next) choose(state.anchor, rowOf(next));
  } else unchoose();
  if (next) focusCell(next);
}

function withKey(event, cell) {
  const row = rowOf(cell);
  const ends = { Home: 0, End: row.cells.length - 1 };
  if (event.altKey && (event.key === "ArrowUp" || event.key === "ArrowDown")) act(event.key === "ArrowUp" ? "up" : "down");
  else if (event.getModifierState("AltGraph") && event.key.length === 1) edit(cell, event.key);
  else if ((event.ctrlKey || event.metaKey) && withControl(event, cell)) return event.preventDefault();
  else if (event.ctrlKey || event.metaKey || event.altKey) return undefined;
  else if (ARROWS[event.key]) moveTo(event, cell);
  else if (event.key === "Enter" || event.key === "F2") edit(cell);
  else if (event.key === "Delete" || event.key === "Backspace") clear(cell);
  else if (event.key === "F6") focusCell(sheet.contains(cell) ? panel.querySelector(".details td") : body.querySelector("tr.here td") || body.querySelector("td"));
  else if (event.key === "Escape") giveUp(cell);
  else if (event.key in ends) focusCell([...row.cells].filter((one) => one.dataset.column !== undefined).at(event.key === "Home" ? 0 : -1));
  else if (event.key.length === 1 && event.key !== " ") edit(cell, event.key);
  else return undefined;
  return event.preventDefault();
}

function clear(cell) {
  const was = textOf(cell);
  if (was !== "" && !isClosed(cell)) keep(cell, "", was);
}

document.addEventListener("keydown", (event) => {
  if (event.isComposing) return;
  if (state.input && event.target === state.input) return whileEditing(event);
  const cell = event.target.closest && event.target.closest(".sheet td[data-column]");
  if (cell) return withKey(event, cell);
  // Undo is meant wherever one is on the page, unless it is the undo of a field.
  if (event.key === "z" && (event.ctrlKey || event.metaKey) && !event.target.closest("input, textarea, select, dialog")) {
    event.preventDefault();
    act("undo");
  }
});

document.addEventListener("mousedown", (event) => {
  const cell = cellOf(event.target);
  if (!cell || (state.input && state.input.cell === cell)) return;
  event.preventDefault();
  const before = current();
  if (state.input) leave(true);
  if (event.shiftKey && before && sheet.contains(cell)) {
    state.anchor = state.anchor || rowOf(before);
    choose(state.anchor, rowOf(cell));
    return focusCell(cell);
  }
  const again = before === cell && document.activeElement === cell;
  if (cell.dataset.column === "number" && sheet.contains(cell)) mayDrag(event, rowOf(cell));
  if (!state.chosen.has(rowOf(cell).dataset.row)) unchoose();
  focusCell(cell);
  if ((again && cell.dataset.column !== "number") || panel.contains(cell)) edit(cell);
});

// ---------------------------------------------------------------------------------- rows drawn by their number

const drag = { from: null, y: 0, to: null, below: false };

function mayDrag(event, row) {
  Object.assign(drag, { from: row, y: event.clientY, to: null });
}

function showDrop(row, below) {
  for (const other of body.querySelectorAll(".drop-above, .drop-below")) other.classList.remove("drop-above", "drop-below");
  if (row) row.classList.add(below ? "drop-below" : "drop-above");
}

document.addEventListener("mousemove", (event) => {
  if (!drag.from || (!drag.to && Math.abs(event.clientY - drag.y) < 8)) return;
  const over = document.elementFromPoint(event.clientX, event.clientY);
  const row = over && over.closest("#rows tr");
  if (!row) return;
  const { top, height } = row.getBoundingClientRect();
  Object.assign(drag, { to: row, below: event.clientY > top + height / 2 });
  document.body.classList.add("dragging");
  showDrop(row, drag.below);
});

document.addEventListener("mouseup", () => {
  const { from, to, below } = drag;
  drag.from = null;
  if (!from || !to) {
    if (from) unchoose();
    return;
  }
  drag.to = null;
  document.body.classList.remove("dragging");
  showDrop(null);
  const moving = chosenRows();
  if (!moving.includes(to.dataset.row)) act("place", { to: to.dataset.row, below: below ? "yes" : "no" });
});

document.addEventListener("dblclick", (event) => edit(cellOf(event.target)));

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[data-go-row]");
  if (!link) return;
  if (goTo(link.dataset.goRow, link.dataset.goColumn)) event.preventDefault();
});

const asked = new URLSearchParams(window.location.search).get("checkpoint");
const wanted = asked && [...body.rows].find((row) => row.cells[0].textContent === asked);
focusCell((wanted || body.rows[0]).cells[0]);
