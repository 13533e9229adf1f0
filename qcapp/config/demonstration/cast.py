"""The invented people and gauges of the demonstration, made through the services."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from qcapp.gauges import services as gauge_services
from qcapp.gauges.usual_kinds import profile_of
from qcapp.people import services as people_services
from qcapp.people.roles import Role

if TYPE_CHECKING:
    from qcapp.people.models import Person

FIXTURES = Path(__file__).resolve().parents[3] / "fixtures"
PASSWORD = "orchard trike 200"  # noqa: S105 - printed by the command, for invented people only
PIN = "271845"


@dataclass(frozen=True)
class Cast:
    """Everybody by badge, and shortcuts for those who act often."""

    people: dict[str, Person]

    def with_role(self, role: Role, index: int = 0) -> Person:
        return self.people[BADGES_BY_ROLE[role][index]]


BADGES_BY_ROLE = {
    Role.INSPECTOR: ("1001", "1002", "1003", "1004"),
    Role.WELDER: ("1005", "1006"),
    Role.ASSEMBLER: ("1007", "1004"),
    Role.GOODS_IN: ("1008",),
    Role.QUALITY_MANAGER: ("1009", "1010"),
    Role.ENGINEER: ("1011",),
    Role.WELDING_COORDINATOR: ("1012",),
    Role.METROLOGY: ("1010",),
    Role.CUSTOMER_SERVICE: ("1013",),
    Role.DISPATCH: ("1014",),
    Role.KEEPER: ("1015",),
}


def rows_of(name: str) -> Iterator[dict[str, str]]:
    """The rows of a fixture, without its comment lines."""
    with (FIXTURES / name).open(encoding="utf-8", newline="") as file:
        yield from csv.DictReader(line for line in file if not line.startswith("#"))


def make_people(at: datetime) -> Cast:
    """Everybody with roles, password and PIN; Caspar Vane is deputy for the quality manager from today."""
    people = {}
    for row in rows_of("demo/people.csv"):
        person = people_services.add_person(
            by=None, badge=row["badge"], name=row["name"], initials=row["initials"], stamp=row["stamp"], at=at
        )
        for role in row["roles"].split():
            people_services.give_role(by=None, person=person, role=Role(role), at=at)
        people_services.set_password(by=None, person=person, password=PASSWORD, at=at)
        people_services.set_pin(by=None, person=person, pin=PIN, at=at)
        people[person.badge] = person
    people_services.name_chart_reader(by=None, person=people[BADGES_BY_ROLE[Role.QUALITY_MANAGER][0]], at=at)
    return Cast(people)


def make_gauges(cast: Cast, at: datetime, today: datetime) -> None:
    """Every gauge with its last calibration; one caliper is past its date, as it happens."""
    by = cast.with_role(Role.METROLOGY)
    kinds: set[str] = set()
    for row in rows_of("demo/gauges.csv"):
        if row["kind"] not in kinds:
            gauge_services.add_kind(by=by, key=row["kind"], name=row["kind_name"], at=at)
            kinds.add(row["kind"])
        _make_gauge(by, row, at, today)


def _make_gauge(by: Person, row: dict[str, str], at: datetime, today: datetime) -> None:
    interval = int(row["interval_months"])
    gauge_services.add_gauge(
        by=by, number=row["number"], kind_key=row["kind"], description=row["description"], at=at,
        unit_of_measure=row["unit_of_measure"], range_lower=_number(row["range_lower"]),
        range_upper=_number(row["range_upper"]), resolution=_number(row["resolution"]),
        interval_months=interval or 12, needs_calibration=bool(interval),
    )  # fmt: skip
    if interval:
        last = int(row["calibrated_days_ago"])
        for days_ago in (last + interval * 29, last):
            _calibrate(by, row, today - timedelta(days=days_ago), today)


def _calibrate(by: Person, row: dict[str, str], done: datetime, today: datetime) -> None:
    gauge_services.record_calibration(
        by=by, number=row["number"], done_on=done.date(), outcome="passed", done_by="Calibration room (invented)",
        certificate=f"CR-{row['number']}-{done:%y%m}", at=today,
        expanded_uncertainty=_number(row["expanded_uncertainty"]),
        looked_at=dict.fromkeys(profile_of(row["kind"]).questions, True),
    )  # fmt: skip


def _number(text: str) -> Decimal | None:
    return Decimal(text) if text else None
