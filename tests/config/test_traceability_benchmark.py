"""The benchmark of traceability: frames that the product takes for its own, every goal named, the bare SQL beside."""

from __future__ import annotations

import io
import json

import pytest
from django.core.management import call_command
from django.utils import timezone

from qcapp.affected.answering import answer
from qcapp.affected.asking import read
from qcapp.config.benchmarks import registry
from qcapp.config.benchmarks.traceability_records import BAD_GAUGE, HEAT, PARTS, Fleet
from qcapp.gauges.queries import calibrations_of, gauge_by_number
from qcapp.inspections.models import Result
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.services.projection import differences
from qcapp.production.models import Unit
from qcapp.recall.queries import recall_of


@pytest.mark.django_db
def test_copies_frames_that_the_product_takes_for_its_own() -> None:
    fleet = Fleet.begun(timezone.now(), with_heat=26, bad=20)
    fleet.grow(28, lambda done: None)
    copied = inspection_of(fleet.serials[-1])
    assert (copied.progress.answered, copied.progress.stages_signed) == (169, 9)
    assert differences() == []
    assert Unit.objects.filter(serial__startswith="FK-30").count() == 4 * PARTS
    assert {row.serial for row in answer(read(f"heat {HEAT}")).rows} == set(fleet.serials[24:26])
    calibration = calibrations_of(gauge_by_number(BAD_GAUGE).id)[0]
    assert Result.objects.filter(gauge__number=BAD_GAUGE).count() == 20
    judged = recall_of(BAD_GAUGE, calibration.id, at=timezone.now())
    assert judged.readings == 20
    assert any(unit.worst.value != "still in band" for unit in judged.units)


def test_says_what_it_takes() -> None:
    assert "traceability" in registry.load()
    told = io.StringIO()
    call_command("benchmark", "--core", "--repeats", "1", "--scale", "0.01", "--json", "-", stdout=told)
    assert json.loads(told.getvalue())["repeats"] == 1
