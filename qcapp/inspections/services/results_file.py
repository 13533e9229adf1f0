"""A CSV file of results: read, turned into operations, and reported line by line. Its columns: docs/results-file.md.

An operation is named after the file's content and its line (UUID version 5), so importing a file again is harmless.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import ROUND_CEILING, ROUND_FLOOR, ROUND_HALF_EVEN, Decimal, InvalidOperation
from typing import Any, BinaryIO
from uuid import UUID, uuid5
from zoneinfo import ZoneInfo

from django.conf import settings

from qcapp.core.checkpoints.measured import EXTRA_DECIMALS
from qcapp.core.errors import Invalid, NotFound, QcError
from qcapp.plans.queries import CheckpointCard
from qcapp.production.queries import UnitCard, unit_by_serial

from ..models import Result
from ..queries import Adopted, adopted
from ..queries.loading import Slot, current_slots, rounds_of
from .operations import MAX_OPERATIONS
from .recording import Verdictlet

FILE_NAMES = UUID("0c8b1c5e-2a4e-4f59-9a64-6cf8f1f6d1aa")  # for operations of files; any fixed value does
MAX_BYTES = 20 * 1024 * 1024
MAX_LINES = 50_000
MAX_CELL = 1_000
NEEDED = ("serial", "checkpoint", "value", "gauge", "recorded_at", "badge")
OPTIONAL = ("round", "inspection", "reason", "temperature")
PURPOSE_WITHOUT_BASE = "reading"


@dataclass(frozen=True)
class ResultsFile:
    """A readable file: its digest, its columns, and its rows with their line numbers."""

    digest: str
    columns: tuple[str, ...]
    rows: tuple[tuple[int, dict[str, str]], ...]
    from_machine: bool = False  # values with all the digits that a measuring machine computes


@dataclass(frozen=True)
class Reject:
    """A row that was not recorded, with the line it stands on and why."""

    line: int
    row: dict[str, str]
    code: str
    reason: str


@dataclass(frozen=True)
class Line:
    """A row on its way in."""

    number: int
    row: dict[str, str]
    operation: dict[str, Any]


@dataclass
class ImportReport:
    """What became of a file: counts, the rows rejected, and the reports that were raised."""

    columns: tuple[str, ...] = ()
    applied: int = 0
    duplicates: int = 0
    rejects: list[Reject] = field(default_factory=list)
    reports: list[str] = field(default_factory=list)

    def reject(self, line: int, row: dict[str, str], refusal: QcError) -> None:
        self.rejects.append(Reject(line, row, refusal.code, refusal.message))

    def add(self, lines: Sequence[Line], verdicts: Sequence[Verdictlet]) -> None:
        """Count what `record_operations` answered about these lines."""
        for line, verdict in zip(lines, verdicts, strict=True):
            self.applied += verdict.outcome == "applied"
            self.duplicates += verdict.outcome == "duplicate"
            if verdict.rejected:
                self.rejects.append(Reject(line.number, line.row, verdict.code, verdict.message))
            self.reports += [report for report in [verdict.report] if report and report not in self.reports]


# -------------------------------------------------------------------------------------------------- reading


def read_results(stream: BinaryIO) -> ResultsFile:
    """The file's rows as text. Raises Invalid `file_too_large`, `file_is_a_spreadsheet`, `file_encoding`,
    `file_unreadable`, `columns_missing`, `column_unknown`.
    """
    content = stream.read(MAX_BYTES + 1)
    if len(content) > MAX_BYTES:
        raise Invalid("file_too_large", f"The file is larger than {MAX_BYTES // 1024 // 1024} MB; split it.")
    text = _decoded(content)
    first = text.split("\n", 1)[0]
    delimiter = ";" if first.count(";") > first.count(",") else ","
    try:
        table = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True))
    except csv.Error as error:
        raise Invalid("file_unreadable", f"The file is not readable as CSV: {error}.") from None
    if len(table) > MAX_LINES:
        raise Invalid("file_too_large", f"The file has more than {MAX_LINES} lines; split it.")
    columns = _columns(table[0] if table else [])
    rows = tuple(
        (number, dict(zip(columns, cells + [""] * len(columns), strict=False)) | _surplus(cells, columns))
        for number, cells in enumerate(table[1:], start=2)
        if any(cell.strip() for cell in cells)
    )
    return ResultsFile(hashlib.sha256(content).hexdigest(), columns, rows)


def _decoded(content: bytes) -> str:
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        raise Invalid("file_is_a_spreadsheet", "This is a spreadsheet; save it as CSV (UTF-8) and import that.")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise Invalid("file_encoding", "The file is in UTF-16; save it as CSV in UTF-8.")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        message = f"Byte {error.start + 1} of the file is not UTF-8; save it as CSV in UTF-8."
        raise Invalid("file_encoding", message) from None
    if "\0" in text:
        raise Invalid("file_encoding", "The file holds NUL characters; save it as CSV in UTF-8.")
    return text


def _columns(header: Sequence[str]) -> tuple[str, ...]:
    columns = tuple(cell.strip().lower() for cell in header)
    missing = [name for name in NEEDED if name not in columns]
    if missing:
        raise Invalid("columns_missing", f"The file lacks the columns {', '.join(missing)}.", columns=missing)
    unknown = [name for name in columns if name not in (*NEEDED, *OPTIONAL)]
    if unknown or len(set(columns)) < len(columns):
        named = f"“{unknown[0][:40]}”" if unknown else "named twice"
        raise Invalid("column_unknown", f"A column is not known or comes twice ({named}).", columns=unknown)
    return columns


def _surplus(cells: Sequence[str], columns: Sequence[str]) -> dict[str, str]:
    return {"surplus": " | ".join(cells[len(columns) :])} if len(cells) > len(columns) else {}


# ------------------------------------------------------------------------------------------------ converting


def to_operations(file: ResultsFile, report: ImportReport) -> Iterator[list[Line]]:
    """The rows as operations, as many at once as one submission takes.

    Rows that cannot become an operation go to the report, and so do rows that this very file brought before.
    """
    report.columns = file.columns
    known = _already_imported(file)
    writer = _Writer(file)
    waiting: list[Line] = []
    for number, row in file.rows:
        if writer.name(number) in known:
            report.duplicates += 1
            writer.remember(number, row)
            continue
        try:
            waiting.append(Line(number, row, writer.operation(number, row)))
        except QcError as refusal:
            report.reject(number, row, refusal)
        if len(waiting) == MAX_OPERATIONS:
            yield waiting
            waiting = []
    if waiting:
        yield waiting


def _already_imported(file: ResultsFile) -> set[UUID]:
    names = [_name(file, number) for number, _ in file.rows]
    found: set[UUID] = set()
    for start in range(0, len(names), 500):
        part = Result.objects.filter(operation__in=names[start : start + 500])
        found |= set(part.values_list("operation", flat=True))
    return found


def _name(file: ResultsFile, line: int) -> UUID:
    return uuid5(FILE_NAMES, f"{file.digest} {line}")


class _Writer:
    """Writes operations of one file; remembers the units met and the answers given on the way."""

    def __init__(self, file: ResultsFile) -> None:
        self.file = file
        self.units: dict[str, tuple[UnitCard, Adopted, dict[str, CheckpointCard]] | QcError] = {}
        self.standing: dict[str, dict[Slot, UUID]] = {}
        self.rounds: dict[str, dict[int, tuple[int, str]]] = {}

    def name(self, line: int) -> UUID:
        return _name(self.file, line)

    def operation(self, line: int, row: dict[str, str]) -> dict[str, Any]:
        """The row as an operation. Raises QcError when it cannot be one."""
        serial, plan, card, slot = self._place(row)
        before = self._standing(serial).get(slot)
        reason = row.get("reason", "").strip()
        correcting = bool(reason and before)
        body = {
            "id": str(self.name(line)),
            "v": 1,
            "kind": "result",
            "serial": serial,
            "revision": str(plan.revision.uuid),
            "checkpoint": card.key,
            "round": slot[1],
            "inspection": slot[2],
            "purpose": "correction" if correcting else PURPOSE_WITHOUT_BASE,
            "answer": answer_of(self._digits(row["value"], card), card, row.get("temperature", "")),
            "raw": row["value"].strip()[:200],
            "gauge": row["gauge"].strip() or None,
            "recorded_at": _instant(row["recorded_at"]),
            "recorded_by": row["badge"].strip(),
            "base": str(before) if correcting else None,
            "reason": reason,
        }
        self._standing(serial)[slot] = self.name(line)
        return body

    def _digits(self, value: str, card: CheckpointCard) -> str:
        """A machine's value with as many digits as the plan takes; what a person typed stays."""
        band = getattr(card.spec, "band", None)
        if not self.file.from_machine or card.kind != "measured":
            return value
        return outward(value, card.spec.decimals + EXTRA_DECIMALS, band and band.lower, band and band.upper)

    def remember(self, line: int, row: dict[str, str]) -> None:
        """A row imported before: later rows of the file may correct it."""
        try:
            serial, _, _, slot = self._place(row)
        except QcError:
            return
        self._standing(serial)[slot] = self.name(line)

    def _place(self, row: dict[str, str]) -> tuple[str, Adopted, CheckpointCard, Slot]:
        _check_cells(row)
        unit, plan, by_name = self._unit(row["serial"].strip())
        named = row["checkpoint"].strip()
        if named not in by_name:
            raise NotFound("checkpoint_unknown", f"The plan of {unit.serial} has no checkpoint “{named[:60]}”.")
        card = by_name[named]
        turn = self.rounds[unit.serial].get(card.id, (1, ""))[0]
        return (
            unit.serial,
            plan,
            card,
            (card.id, _whole(row, "round", turn, 99), _whole(row, "inspection", 1, 3)),
        )

    def _unit(self, serial: str) -> tuple[UnitCard, Adopted, dict[str, CheckpointCard]]:
        if serial not in self.units:
            try:
                unit = unit_by_serial(serial)
                plan = adopted(unit.item_id)
                by_name = {name: card for card in plan.checkpoints for name in (str(card.number), card.key)}
                self.units[serial] = unit, plan, by_name
                self.rounds[unit.serial] = rounds_of(unit.item_id)
            except QcError as refusal:
                self.units[serial] = refusal
        found = self.units[serial]
        if isinstance(found, QcError):
            raise found
        return found

    def _standing(self, serial: str) -> dict[Slot, UUID]:
        if serial not in self.standing:
            found = self.units[serial]
            self.standing[serial] = {} if isinstance(found, QcError) else current_slots(found[0].item_id)
        return self.standing[serial]


def _check_cells(row: dict[str, str]) -> None:
    if "surplus" in row:
        raise Invalid("row_too_long", "The row has more cells than the file has columns; check its quotes.")
    for name, cell in row.items():
        if len(cell) > MAX_CELL:
            raise Invalid("cell_too_long", f"The cell “{name}” is longer than {MAX_CELL} characters.", field=name)


def answer_of(value: str, card: CheckpointCard, temperature: str = "") -> dict[str, Any]:
    """The cell as an answer of the checkpoint's kind; several readings are separated by “|”.

    `temperature` is the part's in °C; it is left out where the plan does not ask for it.

    Raises Invalid `value_empty`, `verdict_unreadable`. What a kind makes of the answer is its own matter.
    """
    typed = value.strip()
    if not typed:
        raise Invalid("value_empty", "The cell “value” is empty; leave the row out or write the value.")
    if card.kind == "measured":
        values = [part.strip() for part in typed.split("|")]
        warmth = {"temperature": temperature.strip()} if card.temperature_text and temperature.strip() else {}
        return ({"value": values[0]} if len(values) == 1 else {"values": values}) | warmth
    if card.kind == "attribute":
        return _attribute(typed)
    return {{"count": "count", "record": "text"}.get(card.kind, "value"): typed}


def outward(value: str, places: int, lower: Decimal | None, upper: Decimal | None) -> str:
    """The number rounded to so many decimals, half to even, but never over a limit to the good side.

    0.500004 against an upper limit of 0.50 stays above it: 0.5001 with four decimals. Text that is no number stays.
    """
    try:
        exact = Decimal(value.strip())
        rounded = exact.quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN)
    except InvalidOperation:
        return value
    if exact.as_tuple().exponent in ("n", "N", "F") or -int(exact.as_tuple().exponent) <= places:
        return value
    if upper is not None and exact > upper >= rounded:
        rounded = exact.quantize(rounded, ROUND_CEILING)
    if lower is not None and exact < lower <= rounded:
        rounded = exact.quantize(rounded, ROUND_FLOOR)
    return f"{rounded:f}"


def _attribute(typed: str) -> dict[str, Any]:
    verdict, _, note = typed.partition(":")
    words = {"conforms": True, "does not conform": False}
    conforms = words.get(" ".join(verdict.lower().split()))
    if conforms is None:
        message = "Write “conforms” or “does not conform”, with a note behind a colon if there is one."
        raise Invalid("verdict_unreadable", message)
    return {"conforms": conforms} | ({"note": note.strip()} if note.strip() else {})


def _whole(row: dict[str, str], name: str, default: int, highest: int) -> int:
    typed = row.get(name, "").strip()
    if not typed:
        return default
    if not (typed.isascii() and typed.isdigit() and 1 <= int(typed[:4]) <= highest):
        raise Invalid("field_type", f"“{name}” must be a whole number from 1 to {highest}.", field=name)
    return int(typed)


def _instant(typed: str) -> str:
    """The time with its zone; one without is meant in the site's zone."""
    try:
        found = datetime.fromisoformat(typed.strip())
    except ValueError:
        message = "“recorded_at” must be a time such as 2031-04-30 14:10 or 2031-04-30T14:10:00+02:00."
        raise Invalid("time_unreadable", message, field="recorded_at") from None
    if found.tzinfo is None:
        found = found.replace(tzinfo=ZoneInfo(settings.QCAPP_SITE_ZONE))
    return found.isoformat()
