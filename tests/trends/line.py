"""A made-up part family on a made-up line: published numbers come in through the front door, one unit each.

Everything goes through the services: the plan is imported, units are opened, results are recorded as operations.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any
from uuid import UUID

from qcapp.inspections.services import import_results, open_unit, record_operations
from qcapp.inspections.services.recording import Verdictlet
from qcapp.lib.fields import uuid7
from qcapp.people.services import demonstration_proof
from qcapp.plans import services as plans
from qcapp.plans.queries import needs_engineer
from qcapp.plans.services.beginning import import_plan
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
        for place, answer in enumerate(answers):
            serial = self.open()
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
        for place, answer in enumerate(answers):
            serial = self.open()
            told = {name: values[place] for name, values in each.items()} | {key: _cell(answer)}
            lines += [
                f"{serial},{name},{value},,{self.at.isoformat()},{self.cast.inspector.badge}"
                for name, value in told.items()
            ]
        file = io.BytesIO("\n".join(lines).encode())
        report = import_results(by=self.cast.quality_manager, stream=file, at=self.at)
        assert [one.message for one in report.rejects] == []
        assert report.applied == len(lines) - 1

    def open(self) -> str:
        """The next unit."""
        self.at += timedelta(hours=1)
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


def _cell(answer: Any) -> str:
    return " | ".join(str(value) for value in answer) if isinstance(answer, list) else str(answer)


def as_answer(given: Any) -> dict[str, Any]:
    """What the kind expects."""
    if isinstance(given, dict):
        return given
    if isinstance(given, list):
        return {"values": [str(value) for value in given]}
    return {"value": str(given)}
