"""Metrology's stories of the demonstration: a height gauge found wrong yesterday, a retired caliper, gauge studies."""

from __future__ import annotations

import random
from datetime import datetime, timedelta
from decimal import Decimal

from qcapp.gauges import keeping, services, setup, studying
from qcapp.gauges.budgets import Line
from qcapp.gauges.points import Point
from qcapp.lib.fields import uuid7
from qcapp.people.roles import Role

from .cast import Cast

WRONG = "HG-07"
FOUND = (("0", "0.00", "0.00"), ("100", "100.02", "100.00"), ("300", "300.07", "300.01"), ("600", "600.11", "600.01"))
LIMIT = Decimal("0.03")
STUDIED, PARTS, TRIALS = "AN-03", 10, 3
SEED = 1010
WELDS, BAD_WELDS = 10, (3, 6, 9)
# A caliper over 300 mm: the components after EA-4/02, example S10, from memory, scaled to its length; invented values.
BUDGET = (
    ("certificate of the gauge blocks", "0.001", "normal", "2"),
    ("resolution", "0.005", "rectangular", "1"),
    ("play of the slide, skewed jaws", "0.030", "rectangular", "1"),
    ("temperature, 2 K", "0.004", "rectangular", "1"),
)


def play_metrology(cast: Cast, now: datetime) -> None:
    """Through the services, like everything else."""
    by = cast.with_role(Role.METROLOGY)
    yesterday = now - timedelta(days=1)
    points = [Point(Decimal(reference), Decimal(found), Decimal(left), LIMIT) for reference, found, left in FOUND]
    services.record_calibration(
        by=by, number=WRONG, done_on=yesterday.date(), done_by="Calibration room (invented)", points=points,
        certificate=f"CR-{WRONG}-{yesterday:%y%m}", expanded_uncertainty=Decimal("0.02"), at=now,
    )  # fmt: skip
    _check_on_master(cast, now)
    _study(cast, now - timedelta(days=20), "501 head angle to base plane", None, "FR-200 501")
    _study(cast, now - timedelta(days=2), "115 cradle rail, bend angle", 12)
    _verdicts(cast, now - timedelta(days=12))
    budget = [Line(name, Decimal(value), shape, Decimal(divisor)) for name, value, shape, divisor in BUDGET]
    keeping.set_budget(by=by, number="CA-12", lines=budget, at=now)
    keeping.keep_gauge(by=by, number="CA-12", owner="welding shop", place="drawer 2, bench 4", at=now)
    services.add_gauge(
        by=by, number="CA-02", kind_key="caliper", description="caliper 150 mm", unit_of_measure="mm", at=now,
        range_lower=Decimal(0), range_upper=Decimal(150), resolution=Decimal("0.01"),
    )  # fmt: skip
    services.retire(by=by, number="CA-02", reason="jaws worn, scrapped", at=now)


def _study(cast: Cast, at: datetime, title: str, stops_after: int | None, checkpoint: str = "") -> None:
    people = [cast.people[badge] for badge in ("1001", "1002", "1003")]
    row = studying.plan_study(
        by=cast.with_role(Role.METROLOGY), number=STUDIED, title=title, checkpoint=checkpoint, parts=PARTS,
        trials=TRIALS, badges=[person.badge for person in people], lower=Decimal("61.85"), upper=Decimal("62.15"),
        at=at,
    )  # fmt: skip
    chance = random.Random(SEED)  # noqa: S311 - invented readings
    parts = [62 + chance.gauss(0, 0.045) for _ in range(PARTS)]
    leaning = {person.pk: chance.gauss(0, 0.006) for person in people}
    by_key = {person.pk: person for person in people}
    for place, (key, part) in enumerate(row.order[:stops_after]):
        value = f"{parts[part - 1] + leaning[key] + chance.gauss(0, 0.008):.2f}"
        moment = at + timedelta(minutes=2 * (place + 1))
        studying.record_reading(by=by_key[key], study_id=row.pk, place=place, value=value, at=moment)


def _verdicts(cast: Cast, at: datetime) -> None:
    """Three inspectors look at the same welds, two times each; one lets a bad one pass now and then."""
    people = [cast.people[badge] for badge in ("1001", "1002", "1003")]
    truth = [part not in BAD_WELDS for part in range(1, WELDS + 1)]
    row = studying.plan_study(
        by=cast.with_role(Role.METROLOGY), number="EY-01", title="402 weld W1, by eye",
        checkpoint="FR-200 402", parts=WELDS, trials=2, badges=[person.badge for person in people], truth=truth, at=at,
    )  # fmt: skip
    chance = random.Random(SEED)  # noqa: S311 - invented verdicts
    by_key = {person.pk: person for person in people}
    for place, (key, part) in enumerate(row.order):
        misses = part in BAD_WELDS and key == people[1].pk and chance.random() < 0.4
        says = truth[part - 1] or misses
        moment = at + timedelta(minutes=place + 1)
        value = "yes" if says else "no"
        studying.record_reading(by=by_key[key], study_id=row.pk, place=place, value=value, at=moment)


def _check_on_master(cast: Cast, now: datetime) -> None:
    """Since the other one was found wrong, this height gauge is read on its block at the start of each shift."""
    number, by = "HG-08", cast.with_role(Role.METROLOGY)
    setup.ask_setup(
        by=by, number=number, master="gauge block GB-300", reference="300.00", limit="0.02", hours=10, at=now
    )
    setup.record_setup(
        by=cast.with_role(Role.INSPECTOR), operation=uuid7(), number=number, reading="300.01", device="tablet-bench-2",
        done_at=now - timedelta(hours=1), at=now,
    )  # fmt: skip
