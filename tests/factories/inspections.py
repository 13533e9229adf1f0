"""A small released plan, gauges and a unit, made through the services, and operations about it.

`Workshop` plays one family with three stages and every kind of checkpoint. `Workshop.send` is the tablet.
"""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any
from uuid import UUID

from qcapp.core.checkpoints.kinds import KINDS
from qcapp.core.sealing import canonical
from qcapp.gauges.models import Calibration, Gauge, GaugeKind
from qcapp.inspections.queries import adopted
from qcapp.inspections.services import open_unit, record_operations, sign_stage
from qcapp.inspections.services.recording import Verdictlet
from qcapp.lib.fields import uuid7
from qcapp.people.services import demonstration_proof
from qcapp.plans.models import Characteristic, Checkpoint, PlanRevision, RevisionEvent, RevisionStatus, Stage
from qcapp.plans.queries import content_digest
from qcapp.production.queries import family_by_code
from qcapp.production.services import add_family, record_weld

from ..cast import FIXED_NOW, Cast

if TYPE_CHECKING:
    from qcapp.people.models import Person

PLAN = """\
stage_number,stage_name,hold_point,number,key,title,kind,nominal,limits,unit_of_measure,decimals,formula,form,criticality,gauge_kinds,frequency,second_inspection,joint
1,Tack-up,no,101,head_angle,Head angle,measured,62.00,±0.15,°,2,,,critical,angle_gauge,every,no,
1,Tack-up,no,102,left_length,Left length,measured,250.0,±0.3,mm,1,,,major,caliper,every,no,
1,Tack-up,no,103,right_length,Right length,measured,250.0,±0.3,mm,1,,,major,caliper,every,no,
1,Tack-up,no,104,length_difference,Left minus right,derived,0,±0.2,mm,1,left_length - right_length,,major,,every,no,
1,Tack-up,no,105,tack_look,Tacks without cracks,attribute,,,,,,,minor,,every,no,
2,Weld inspection,yes,201,weld_w7,Weld W7 looks sound,attribute,,,,,,,critical,,every,yes,W7
2,Weld inspection,yes,202,throat_w7,Throat of W7,measured,,min 3.0,mm,1,,,major,throat_gauge,every,yes,W7
2,Weld inspection,yes,203,pores,Pores in W7,count,,max 2,,,,,minor,,every,no,W7
2,Weld inspection,yes,204,heat,Heat of the head tube,record,,,,,,heat,major,,every,no,
2,Weld inspection,yes,205,serial_read,Stamped serial read back,record,,,,,,,major,,every,yes,
3,Alignment,no,301,twist,Head twist,measured,,max 0.50,mm,2,,,critical,caliper,every,no,
3,Alignment,no,302,sampled_gap,Gap at the bracket,measured,2.0,±0.5,mm,1,,,minor,caliper,1 in 5,no,
"""
EVERY_UNIT = "".join(line for line in PLAN.splitlines(keepends=True) if "1 in 5" not in line)
SERIAL = "FR-200-0147"
GAUGE_KINDS = {"angle_gauge": "angle gauge", "caliper": "caliper", "throat_gauge": "throat gauge"}
# number: kind, unit of measure, day of the last calibration, its outcome
GAUGES = {
    "AG-01": ("angle_gauge", "°", date(2026, 1, 12), "passed"),
    "AG-02": ("angle_gauge", "°", date(2026, 1, 12), "passed"),
    "CA-01": ("caliper", "mm", date(2026, 1, 12), "passed"),
    "CA-02": ("caliper", "mm", date(2024, 11, 4), "passed"),  # overdue since November 2025
    "CA-03": ("caliper", "mm", date(2026, 1, 12), "failed"),
    "TG-01": ("throat_gauge", "mm", date(2026, 1, 12), "passed"),
}
ANSWERS: dict[str, tuple[dict[str, Any], str | None]] = {
    "head_angle": ({"value": "61.94"}, "AG-01"),
    "left_length": ({"value": "250.1"}, "CA-01"),
    "right_length": ({"value": "250.0"}, "CA-01"),
    "tack_look": ({"conforms": True}, None),
    "weld_w7": ({"conforms": True}, None),
    "throat_w7": ({"value": "3.4"}, "TG-01"),
    "pores": ({"count": 1}, None),
    "heat": ({"text": "H4711"}, None),
    "serial_read": ({"text": SERIAL}, None),
    "twist": ({"value": "0.12"}, "CA-01"),
}
STAGES = {
    1: ("head_angle", "left_length", "right_length", "tack_look"),
    2: ("weld_w7", "throat_w7", "pores", "heat", "serial_read"),
    3: ("twist",),
}
SECOND = ("weld_w7", "throat_w7", "serial_read")


def gauges_at(at: datetime) -> dict[str, tuple[str, str, date, str]]:
    """GAUGES, each calibrated as long before `at` as before FIXED_NOW: for tests in which a server takes its own time.

    Put in place of GAUGES before the workshop is opened.
    """
    return {
        number: (kind, unit_of_measure, at.date() - (FIXED_NOW.date() - done_on), outcome)
        for number, (kind, unit_of_measure, done_on, outcome) in GAUGES.items()
    }


def make_gauges(cast: Cast, at: datetime) -> None:
    """The gauges of GAUGES, each calibrated once; past the services, because every test needs them."""
    kinds = {key: GaugeKind.objects.create(key=key, name=name) for key, name in GAUGE_KINDS.items()}
    gauges = Gauge.objects.bulk_create(
        Gauge(number=number, kind=kinds[kind], unit_of_measure=unit_of_measure)
        for number, (kind, unit_of_measure, _, _) in GAUGES.items()
    )
    by_number = {gauge.number: gauge for gauge in gauges}
    Calibration.objects.bulk_create(
        Calibration(
            gauge=by_number[number], done_on=done_on, due_on=done_on + timedelta(days=365), outcome=outcome,
            expanded_uncertainty=Decimal("0.01"), done_by="Gauge room", recorded_by=cast.metrology, recorded_at=at,
        )
        for number, (_, _, done_on, outcome) in GAUGES.items()
    )  # fmt: skip


def release_plan(cast: Cast, *, family_code: str, letter: str, text: str, at: datetime) -> UUID:
    """A released revision of the plan in `text`, written past the services, because every test needs one."""
    family_id = family_by_code(family_code).id
    revision = PlanRevision.objects.create(
        family_id=family_id, letter=letter, author=cast.quality_manager, created_at=at
    )
    _write_content(revision, family_id, list(csv.DictReader(io.StringIO(text))))
    RevisionEvent.objects.create(
        revision=revision, kind="release", state="released", by=cast.second_quality_manager, at=at,
        content_digest=content_digest(revision.pk),
    )  # fmt: skip
    RevisionStatus.objects.filter(family=family_id, state="released").update(state="superseded")
    RevisionStatus.objects.create(revision=revision, family_id=family_id, letter=letter, state="released")
    return revision.uuid


def _write_content(revision: PlanRevision, family_id: int, rows: list[dict[str, str]]) -> None:
    names = {
        int(row["stage_number"]): (row["stage_name"], row["hold_point"] == "yes", row.get("witness_point") == "yes")
        for row in rows
    }
    stages = {
        number: Stage.objects.create(
            revision=revision, number=number, name=name, hold_point=hold_point, witness_point=witness_point
        )
        for number, (name, hold_point, witness_point) in names.items()
    }
    known = dict(Characteristic.objects.filter(family=family_id).values_list("key", "pk"))
    new = [row for row in rows if row["key"] not in known]
    Characteristic.objects.bulk_create(
        Characteristic(family_id=family_id, number=int(row["number"]), key=row["key"]) for row in new
    )
    known = dict(Characteristic.objects.filter(family=family_id).values_list("key", "pk"))
    Checkpoint.objects.bulk_create(
        Checkpoint(
            revision=revision, stage=stages[int(row["stage_number"])], characteristic_id=known[row["key"]],
            position=position, title=row["title"], kind=row["kind"], specified=_specified(row),
            criticality=row["criticality"], gauge_kinds=row["gauge_kinds"].split(), frequency=row["frequency"],
            second_inspection=row["second_inspection"] == "yes", joint=row["joint"], photo=row.get("photo") == "yes",
            setup=row.get("setup") or "", method=row.get("method") or "",
            variants=row.get("variants") or "", after_weld_hours=int(row.get("after_weld_hours") or 0) or None,
        )
        for position, row in enumerate(rows, start=1)
    )  # fmt: skip


def _specified(row: dict[str, str]) -> str:
    """The specification as the plan's tables keep it."""
    limits = {
        "nominal": row["nominal"] or None, "notation": row["limits"], "unit_of_measure": row["unit_of_measure"],
        "decimals": int(row["decimals"] or 0),
    }  # fmt: skip
    data: dict[str, Any] = {
        "measured": limits | _readings(row),
        "derived": limits | {"formula": row["formula"]},
        "count": {"accept": int(row["limits"].removeprefix("max ") or 0)} if row["kind"] == "count" else {},
        "record": _form(row["form"] or "text"),
    }.get(row["kind"], {})
    return canonical(KINDS[row["kind"]].read_spec(data).to_json())


def _readings(row: dict[str, str]) -> dict[str, Any]:
    """How many readings, whether their mean counts, and what is asked about the part's warmth."""
    asked: dict[str, Any] = {"temperature": row.get("temperature") or ""}
    if row.get("readings"):
        asked |= {"readings": int(row["readings"]), "mean": row.get("mean") == "yes"}
    return asked


def _form(text: str) -> dict[str, str]:
    """ "serial FR-200-{number:4}" is a form and a pattern."""
    form, _, pattern = text.partition(" ")
    return {"form": form} | ({"pattern": pattern} if pattern else {})


@dataclass
class Workshop:
    """A unit on its bench, with the people and gauges to inspect it."""

    cast: Cast
    revision: UUID
    item_id: int
    unit_id: int
    serial: str
    at: datetime

    @classmethod
    def opened(cls, cast: Cast, at: datetime = FIXED_NOW, *, serial: str = SERIAL, plan: str = PLAN) -> Workshop:
        """A unit of a new family on its released plan, with gauges and the welder of W7 written down."""
        long_ago = at - timedelta(days=30)
        add_family(
            by=cast.quality_manager, code="FR-200", name="Trike frame", serial_pattern="FR-200-{number:4}",
            certificate_prefix="FR", at=long_ago,
        )  # fmt: skip
        make_gauges(cast, long_ago)
        revision = release_plan(cast, family_code="FR-200", letter="D", text=plan, at=long_ago)
        unit = open_unit(by=cast.inspector, family_code="FR-200", serial=serial, order_number="A-1", at=at)
        if "W7" in plan:
            record_weld(by=cast.welder, welder=cast.welder, serial=serial, joints=["W7"], procedure="WP-3", at=at)
        return cls(cast, revision, unit.item_id, unit.id, serial, at)

    def another_unit(self, serial: str) -> Workshop:
        """A second unit of the same family on its bench."""
        unit = open_unit(by=self.cast.inspector, family_code="FR-200", serial=serial, at=self.at)
        return Workshop(self.cast, self.revision, unit.item_id, unit.id, serial, self.at)

    def operation(self, key: str, answer: dict[str, Any] | str | None = None, **changes: Any) -> dict[str, Any]:
        """One operation as the tablet sends it: a passing answer with the right gauge, unless told otherwise.

        `answer` may be the value as text; `person` may be given in place of `recorded_by`.
        """
        usual, gauge = ANSWERS.get(key, ({"value": "1"}, None))
        person = changes.pop("person", self.cast.inspector)
        body = {
            "id": str(uuid7()),
            "v": 1,
            "kind": "result",
            "serial": self.serial,
            "revision": str(self.revision),
            "checkpoint": key,
            "round": 1,
            "inspection": 1,
            "purpose": "reading",
            "answer": {"value": answer} if isinstance(answer, str) else usual if answer is None else answer,
            "raw": "",
            "gauge": gauge,
            "recorded_at": self.at.isoformat(),
            "recorded_by": person.badge,
            "base": None,
            "reason": "",
        }
        return body | changes

    def send(self, *operations: object, by: Person | None = None, **options: Any) -> list[Verdictlet]:
        """What the server answers to these operations."""
        sender = {"sent_by": by or self.cast.inspector, "device": "tablet 7", "at": self.at} | options
        return record_operations(operations=list(operations), **sender)

    def send_one(self, key: str, answer: dict[str, Any] | str | None = None, **changes: Any) -> Verdictlet:
        """What the server answers to one operation of the inspector."""
        return self.send(self.operation(key, answer, **changes))[0]

    def answer_stage(self, number: int, **changes: Any) -> list[Verdictlet]:
        """Every first answer of a stage, and every second by the second inspector; all pass."""
        second = self.cast.second_inspector
        first = self.send(*[self.operation(key, **changes) for key in STAGES[number]])
        seconds = [
            self.operation(key, inspection=2, person=second, **changes) for key in STAGES[number] if key in SECOND
        ]
        return first + (self.send(*seconds, by=second) if seconds else [])

    def sign(self, number: int, person: Person | None = None) -> None:
        """The stage signed, by the inspector if nobody else is named."""
        proof = demonstration_proof(person or self.cast.inspector, self.at)
        sign_stage(proof=proof, serial=self.serial, stage_number=number, at=self.at)

    def finish(self, upto: int = 3) -> Workshop:
        """Every stage up to a number answered and signed."""
        for number in range(1, upto + 1):
            self.answer_stage(number)
            self.sign(number)
        return self

    def card(self, key: str) -> Any:
        """The plan's checkpoint."""
        return next(card for card in adopted(self.item_id).checkpoints if card.key == key)
