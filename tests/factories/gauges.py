"""Gauges for tests, made past the services: no audit entries."""

from __future__ import annotations

import csv
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path

import factory

from qcapp.gauges.models import Calibration, Gauge, GaugeKind, GaugeUse

from .people import PersonFactory

PLANS = Path(__file__).resolve().parents[2] / "fixtures" / "plans"


class GaugeKindFactory(factory.django.DjangoModelFactory):
    """A kind of gauge; the same key gives the same kind."""

    class Meta:
        model = GaugeKind
        django_get_or_create = ("key",)

    key = "caliper"
    name = factory.LazyAttribute(lambda kind: kind.key.replace("_", " ").capitalize())


class GaugeFactory(factory.django.DjangoModelFactory):
    """A caliper that was never calibrated; the trait `is_calibrated` gives it a year from 2 January 2026."""

    class Meta:
        model = Gauge
        skip_postgeneration_save = True

    number = factory.Sequence(lambda n: f"CA-{n + 1:02d}")
    kind = factory.SubFactory(GaugeKindFactory)
    unit_of_measure = "mm"
    range_lower = "0"
    range_upper = "150"
    resolution = "0.01"

    class Params:
        is_calibrated = factory.Trait(
            calibration=factory.RelatedFactory(
                "tests.factories.gauges.CalibrationFactory", factory_related_name="gauge"
            )
        )


class CalibrationFactory(factory.django.DjangoModelFactory):
    """A calibration that passed on 2 January 2026, due on 2 January 2027, U = 0.02 mm."""

    class Meta:
        model = Calibration

    gauge = factory.SubFactory(GaugeFactory)
    done_on = date(2026, 1, 2)
    due_on = date(2027, 1, 2)
    outcome = Calibration.Outcome.PASSED
    expanded_uncertainty = "0.02"
    done_by = "Metrology room"
    recorded_by = factory.SubFactory(PersonFactory)
    recorded_at = datetime(2026, 1, 2, 9, tzinfo=UTC)


class GaugeUseFactory(factory.django.DjangoModelFactory):
    """A gauge taken out of use on 1 March 2026."""

    class Meta:
        model = GaugeUse

    gauge = factory.SubFactory(GaugeFactory)
    kind = GaugeUse.Kind.OUT
    reason = "jaws bent"
    by = factory.SubFactory(PersonFactory)
    at = datetime(2026, 3, 1, 9, tzinfo=UTC)


@lru_cache(maxsize=1)
def kinds_asked_for() -> tuple[str, ...]:
    """Keys of the kinds that the demonstration's plan files name."""
    found: set[str] = set()
    for file in PLANS.glob("*.csv"):
        lines = [line for line in file.read_text(encoding="utf-8").splitlines() if not line.startswith("#")]
        found |= {key for row in csv.DictReader(lines) for key in row["gauge_kinds"].split(";") if key}
    return tuple(sorted(found))


def every_gauge_kind() -> list[GaugeKind]:
    """Those kinds, as rows."""
    return [GaugeKindFactory(key=key) for key in kinds_asked_for()]
