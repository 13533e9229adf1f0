"""A made-up part family on a made-up line: published numbers come in through the front door, one unit each.

Everything goes through the services: the plan is imported, units are opened, results are recorded as operations.
"""

from __future__ import annotations

import io
import json
from collections.abc import Mapping, Sequence
from copy import copy
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from django.db.models.base import ModelState

from qcapp.core.identification import lookup_key
from qcapp.inspections.models import Adoption, CurrentAnswer, Result
from qcapp.inspections.services import import_results, open_unit, record_operations
from qcapp.inspections.services.recording import Verdictlet
from qcapp.lib.fields import uuid7
from qcapp.people.services import demonstration_proof
from qcapp.plans import services as plans
from qcapp.plans.queries import needs_engineer
from qcapp.plans.services.beginning import import_plan
from qcapp.production.models import Item, Unit, UnitEvent
from qcapp.production.services import add_family

from ..cast import FIXED_NOW, Cast
from ..factories.inspections import make_gauges

COLUMNS = (
    "stage_number,stage_name,hold_point,number,key,title,kind,nominal,limits,unit_of_measure,decimals,readings,formula,"
    "form,criticality,gauge_kinds,frequency,second_inspection,joint,paired_with"
)
FAMILY = "DX-1"
FIXTURE_ROW = '1,Making,no,100,fixture,"Fixture, number",record,,,,,,,serial,minor,,every,no,,'


def row(number: int, key: str, kind: str = "measured", **cells: str) -> str:
    """One line of a plan file; cells by column."""
    usual = {
        "stage_number": "1", "stage_name": "Making", "hold_point": "no", "number": str(number), "key": key,
        "title": key.replace("_", " ").capitalize(), "kind": kind, "criticality": "minor", "frequency": "every",
        "second_inspection": "no",
    }  # fmt: skip
    cells = usual | cells
    return ",".join(cells.get(name, "") for name in COLUMNS.split(","))


def measured(number: int = 101, key: str = "size", limits: str = "40 to 60", **cells: str) -> str:
    """A measured checkpoint without a gauge, in mm with three decimals."""
    return row(number, key, limits=limits, **({"unit_of_measure": "mm", "decimals": "3"} | cells))


@dataclass
class Line:
    """The family with its plan; `play` opens units and answers them."""

    cast: Cast
    revision: UUID
    at: datetime = FIXED_NOW
    serials: list[str] = field(default_factory=list)
    step: timedelta = timedelta(hours=1)  # from one unit to the next

    @classmethod
    def with_plan(cls, cast: Cast, *rows: str, at: datetime = FIXED_NOW, gauges: bool = False) -> Line:
        """A released plan of these rows."""
        long_ago = at - timedelta(days=60)
        add_family(
            by=cast.quality_manager, code=FAMILY, name="Made-up part", serial_pattern="DX-1-{number:5}",
            certificate_prefix="DX", at=long_ago,
        )  # fmt: skip
        if gauges:
            make_gauges(cast, long_ago)
        return cls(cast, cls._release(cast, "A", rows, long_ago), at)

    @staticmethod
    def _release(cast: Cast, letter: str, rows: Sequence[str], at: datetime) -> UUID:
        """Imported, reviewed, approved where that is needed, and released by somebody else than the author."""
        text = "\n".join([COLUMNS, *rows]) + "\n"
        card = import_plan(
            by=cast.quality_manager, family_code=FAMILY, letter=letter, text_or_bytes=text,
            filename="plan.csv", at=at, change_note="made up",
        )  # fmt: skip
        plans.send_for_review(by=cast.quality_manager, revision_uuid=card.uuid, at=at)
        if needs_engineer(card.id):
            plans.approve(proof=demonstration_proof(cast.engineer, at), revision_uuid=card.uuid, at=at)
        proof = demonstration_proof(cast.second_quality_manager, at)
        return plans.release(proof=proof, revision_uuid=card.uuid, at=at).uuid

    def revise(self, letter: str, *rows: str) -> None:
        """Another released revision; units opened from now on follow it."""
        self.revision = self._release(self.cast, letter, rows, self.at)

    def play(self, key: str, answers: Sequence[Any], **each: Sequence[str | None]) -> list[Verdictlet]:
        """A new unit for each answer, one hour after the other. `fixture`, `gauge` and `person` may be given for each.

        An answer is a text or a number for measured checkpoints, a list for several readings, or an answer itself.
        """
        operations = []
        for place, (answer, unit) in enumerate(zip(answers, self.open_many(len(answers)), strict=True)):
            serial = self._now_at(unit)
            if "fixture" in each:
                operations.append(self.operation(serial, "fixture", {"text": each["fixture"][place]}))
            extra = {"gauge": each["gauge"][place]} if "gauge" in each else {}
            if "person" in each:
                extra["recorded_by"] = getattr(self.cast, str(each["person"][place])).badge
            operations.append(self.operation(serial, key, as_answer(answer), **extra))
        return self.send(operations)

    def import_file(self, key: str, answers: Sequence[Any], **each: Sequence[str]) -> None:
        """A new unit for each answer, recorded from a results file as docs/results-file.md has it.

        `fixture` may be given for each. A rejected line fails the test.
        """
        lines = ["serial,checkpoint,value,gauge,recorded_at,badge"]
        for place, (answer, unit) in enumerate(zip(answers, self.open_many(len(answers)), strict=True)):
            serial = self._now_at(unit)
            told = {name: values[place] for name, values in each.items()} | {key: _cell(answer)}
            lines += [
                f"{serial},{name},{value},,{self.at.isoformat()},{self.cast.inspector.badge}"
                for name, value in told.items()
            ]
        file = io.BytesIO("\n".join(lines).encode())
        report = import_results(by=self.cast.quality_manager, stream=file, at=self.at)
        assert [one.message for one in report.rejects] == []
        assert report.applied == len(lines) - 1

    def copy_results(self, answers: Mapping[str, Sequence[str]], fixture: Sequence[str]) -> None:
        """A new unit for each fixture, with measured values by checkpoint: the rows that recording writes, many a time.

        The first unit is recorded through the front door; the rows of the others are its rows with their own values.
        """
        units = self.open_many(len(fixture))
        first = self._now_at(units[0])
        keys = {key: self.operation(first, key, as_answer(values[0])) for key, values in answers.items()}
        self.send([self.operation(first, "fixture", {"text": fixture[0]}), *keys.values()])
        models = list(Result.objects.filter(item__unit__serial=first).select_related("characteristic"))
        rows = []
        for place, unit in enumerate(units[1:], 1):
            self._now_at(unit)
            for model in models:
                key = model.characteristic.key
                answer = {"text": fixture[place]} if key == "fixture" else {"value": answers[key][place]}
                rows.append(_copied(model, unit.item_id, self.at, answer))
        Result.objects.bulk_create(rows, batch_size=500)
        CurrentAnswer.objects.bulk_create(
            (
                CurrentAnswer(item_id=one.item_id, checkpoint_id=one.checkpoint_id, round=1, inspection=1, result=one)
                for one in rows
            ),
            batch_size=500,
        )

    def open_many(self, count: int) -> list[Unit]:
        """The next units: the first through the service, the others as the rows that it writes."""
        if not count:
            return []
        model = Unit.objects.select_related("item").get(serial=self.open())
        times = [self.at + self.step * place for place in range(1, count)]
        items = Item.objects.bulk_create(Item(kind=model.item.kind, family_id=model.item.family_id) for _ in times)
        units = Unit.objects.bulk_create(
            _unit_row(model, item, len(self.serials) + place, at)
            for place, (item, at) in enumerate(zip(items, times, strict=True), 1)
        )
        told = list(zip(units, times, strict=True))
        event, adoption = model.events.get(), model.item.adoptions.get()
        UnitEvent.objects.bulk_create(_row_of(event, unit=unit, at=at) for unit, at in told)
        Adoption.objects.bulk_create(_row_of(adoption, item=unit.item, at=at) for unit, at in told)
        self.serials += [unit.serial for unit in units]
        return [model, *units]

    def _now_at(self, unit: Unit) -> str:
        """The line's time when this unit was opened; its serial."""
        self.at = unit.opened_at
        return unit.serial

    def open(self) -> str:
        """The next unit."""
        self.at += self.step
        serial = f"DX-1-{len(self.serials) + 1:05}"
        open_unit(by=self.cast.inspector, family_code=FAMILY, serial=serial, at=self.at)
        self.serials.append(serial)
        return serial

    def operation(self, serial: str, key: str, answer: dict[str, Any], **changes: Any) -> dict[str, Any]:
        """One operation about a unit, by the inspector at this moment of the line."""
        return {
            "id": str(uuid7()), "v": 1, "kind": "result", "serial": serial, "revision": str(self.revision),
            "checkpoint": key, "round": 1, "inspection": 1, "purpose": "reading", "answer": answer, "raw": "",
            "gauge": None, "recorded_at": self.at.isoformat(), "recorded_by": self.cast.inspector.badge, "base": None,
            "reason": "",
        } | changes  # fmt: skip

    def send(self, operations: Sequence[dict[str, Any]]) -> list[Verdictlet]:
        """Recorded, 200 at a time; a rejected one fails the test."""
        said: list[Verdictlet] = []
        for start in range(0, len(operations), 200):
            said += record_operations(
                sent_by=self.cast.inspector, device="line", sent_at=self.at, at=self.at,
                operations=list(operations[start : start + 200]),
            )  # fmt: skip
        assert [one.message for one in said if one.rejected] == []
        return said


def _row_of(model: Any, **changes: Any) -> Any:
    """Another row of the same table, not yet written, that differs in these columns."""
    row = copy(model)
    row.pk, row._state = None, ModelState()
    for name, value in changes.items():
        setattr(row, name, value)
    return row


def _unit_row(model: Unit, item: Item, number: int, at: datetime) -> Unit:
    serial = f"DX-1-{number:05}"
    row: Unit = _row_of(model, item=item, serial=serial, lookup=lookup_key(serial), number=number, opened_at=at)
    return row


def _copied(model: Result, item: int, at: datetime, answer: dict[str, str]) -> Result:
    """Another unit's row of the same checkpoint; a new name, time and value, the rest as it was recorded."""
    row: Result = _row_of(model, operation=uuid7(), item_id=item, recorded_at=at, received_at=at)
    row.answer = json.dumps({**json.loads(model.answer), **answer})
    row.plot = float(answer["value"]) if "value" in answer else None
    return row


def _cell(answer: Any) -> str:
    return " | ".join(str(value) for value in answer) if isinstance(answer, list) else str(answer)


def as_answer(given: Any) -> dict[str, Any]:
    """What the kind expects."""
    if isinstance(given, dict):
        return given
    if isinstance(given, list):
        return {"values": [str(value) for value in given]}
    return {"value": str(given)}
