"""What was measured, as docs/measured.json keeps it: the document of every number, and the part of docs/deploy.md.

A run is the JSON of `manage.py benchmark --json`, with the machine and a note beside it. Of each measure with so many
frames the latest run counts.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

DOCS = Path(__file__).resolve().parents[3] / "docs"
KEPT = DOCS / "measured.json"
BEGIN, END = "<!-- measured: begin, drawn by manage.py write_documents -->", "<!-- measured: end -->"
SIZES = (1_000, 10_000, 100_000)
HEAD = """# What was measured

Drawn by `manage.py write_documents` from `docs/measured.json`: each goal of the product with what was measured, the
ratio to the bare work of the same run where there is one, and whether the goal was met. Put in your own:

    .venv/bin/python manage.py benchmark --all --json numbers.json
    .venv/bin/python manage.py benchmark --traceability --units 100000 --kept fleet --json traceability.json
    .venv/bin/python manage.py write_documents --measured numbers.json --machine 'two cores, 8 GB'

Times are of one machine at one moment. Ratios travel better than milliseconds. What was not read since the machine
started comes from the disk: among 100 000 frames (19 GB) the first look-ups took up to 260 ms, the first histories
700 ms.
"""


@dataclass(frozen=True)
class Measured:
    """One measure of one run. `ratio`, `goal` and `met` as the benchmark prints them."""

    name: str
    group: str
    value: float
    unit: str
    ratio: float | None
    goal: str
    met: bool | None
    frames: int | None
    where: str


def latest() -> list[Measured]:
    """Every measure once for each number of frames, of the latest run that has it; in the order first seen."""
    found: dict[tuple[str, str, int | None], Measured] = {}
    for run in _runs():
        where = ", ".join(filter(None, (run["on"], run["machine"], run["database"], run["note"])))
        for line in run["measurements"]:
            key = line["group"], line["name"], line.get("frames")
            told = {name: line.get(name) for name in ("value", "ratio", "met")}
            found[key] = Measured(
                name=line["name"], group=line["group"], goal=line.get("goal", ""), frames=line.get("frames"),
                where=where, unit=line.get("unit") or "", **told,
            )  # fmt: skip
    return list(found.values())


def add(file: Path, *, machine: str, note: str, kept: Path = KEPT) -> int:
    """Keep a run of the benchmark; gives how many numbers it has. Raises ValueError when the file is none of them."""
    document = json.loads(file.read_text(encoding="utf-8"))
    if not isinstance(document, dict) or not {"on", "database", "measurements"} <= document.keys():
        raise ValueError(f"{file} is not what `manage.py benchmark --json` writes.")
    run = {"on": document["on"], "machine": machine, "database": document["database"], "note": note}
    run["measurements"] = [{k: v for k, v in line.items() if v not in (None, "")} for line in document["measurements"]]
    runs = json.loads(kept.read_text(encoding="utf-8"))["runs"] if kept.is_file() else []
    text = json.dumps({"runs": [*runs, run]}, ensure_ascii=False, indent=1)
    kept.write_text(text + "\n", encoding="utf-8")
    return len(run["measurements"])


def all_measured() -> str:
    """The document of every number."""
    found = latest()
    lines = [HEAD]
    for group in dict.fromkeys(one.group for one in found):
        lines += [f"## `benchmark --{group}`\n", "| what | measured | ratio | goal | met |"]
        lines.append("| --- | --- | --- | --- | --- |")
        lines += [_row(one, found) for one in found if one.group == group]
        lines.append("")
    lines.append("## When and where\n")
    lines += [f"{place}. {where}" for place, where in enumerate(_places(found), start=1)]
    return "\n".join([*lines, ""])


def _row(one: Measured, found: list[Measured]) -> str:
    frames = "" if one.frames is None else f", {count(one.frames)} frames"
    ratio = "–" if one.ratio is None else f"{one.ratio:.2f}×"
    met = {None: "–", True: "yes", False: "**no**"}[one.met]
    place = _places(found).index(one.where) + 1
    return f"| {one.name}{frames} | {number(one.value)} {one.unit} ({place}) | {ratio} | {one.goal or '–'} | {met} |"


def _places(found: list[Measured]) -> list[str]:
    return list(dict.fromkeys(one.where for one in found))


def deploy() -> str:
    """docs/deploy.md with the measured numbers of now between its two marks. Raises ValueError where a mark is lost."""
    text = (DOCS / "deploy.md").read_text(encoding="utf-8")
    before, begin, rest = text.partition(BEGIN)
    _, end, after = rest.partition(END)
    if not begin or not end:
        raise ValueError("docs/deploy.md has lost the marks of its measured numbers.")
    return "".join([before, BEGIN, "\n", _by_frames(), "\n", END, after])


def _by_frames() -> str:
    """A row for each page whose work stays the same, a column for each number of frames."""
    found = [one for one in latest() if one.frames is not None]
    sizes = sorted({one.frames for one in found if one.frames is not None})
    head = " | ".join(f"{count(size)} frames" for size in sizes)
    lines = [f"| | {head} | goal |", f"| --- |{' --- |' * len(sizes)} --- |"]
    for name in dict.fromkeys(one.name for one in found):
        here = {one.frames: one for one in found if one.name == name}
        cells = [f"{number(here[size].value)} {here[size].unit}" if size in here else "–" for size in sizes]
        goal = next((one.goal for one in here.values() if one.goal), "–")
        lines.append(f"| {name} | {' | '.join(cells)} | {goal} |")
    return "\n".join(lines)


def number(value: float) -> str:
    """Three digits, thousands apart."""
    return f"{value:,.0f}".replace(",", " ") if abs(value) >= 1000 else f"{value:.3g}"


def count(frames: int) -> str:
    return f"{frames:,}".replace(",", " ")


def _runs() -> list[dict[str, Any]]:
    runs: list[dict[str, Any]] = json.loads(KEPT.read_text(encoding="utf-8"))["runs"]
    return sorted(runs, key=lambda run: str(run["on"]))  # of one day: in the order kept
