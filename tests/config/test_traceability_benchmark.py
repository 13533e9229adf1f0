"""The benchmark of traceability: frames that the product takes for its own, every goal named, the bare SQL beside."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from django.core.management import CommandError, call_command
from django.utils import timezone

from qcapp.affected.answering import answer
from qcapp.affected.asking import read
from qcapp.config.benchmarks import registry
from qcapp.config.benchmarks.traceability import filled
from qcapp.config.benchmarks.traceability_records import BAD_GAUGE, HEAT, PARTS, Fleet, frames_loaded
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
    assert filled(28, 40) == fleet.serials
    with pytest.raises(CommandError, match="holds 28 frames"):
        filled(29, 40)
    assert len(frames_loaded()) == 28


@pytest.mark.parametrize("name", ["Fleet", "a-b", "x" * 41, "x; drop table"])
def test_refuses_a_name_that_no_database_should_have(name: str) -> None:
    with pytest.raises(CommandError, match="small letters"):
        call_command("benchmark", "--traceability", "--kept", name)


HOUSES = """
from django.db import connection
import django; django.setup()
from qcapp.config.benchmarks.own_house import own_house
for _ in range(2):
    with own_house("tests"), connection.cursor() as cursor:
        cursor.execute("CREATE TABLE IF NOT EXISTS left_behind (name text)")
        cursor.execute("INSERT INTO left_behind VALUES ('a')")
        cursor.execute("SELECT current_database(), (SELECT count(*) FROM left_behind)")
        print(*cursor.fetchone())
connection.close()
with connection.cursor() as cursor:
    cursor.execute("DROP DATABASE qcapp_benchmark_tests")
"""


@pytest.mark.both_databases
def test_keeps_a_database_by_its_own_name_on_postgresql_alone(tmp_path: Path) -> None:
    url = os.environ.get("QCAPP_TEST_DATABASE_URL")
    ours = {"QCAPP_DATA_DIR": str(tmp_path), "QCAPP_DEBUG": "yes", "DJANGO_SETTINGS_MODULE": "qcapp.config.settings"}
    others = {name: value for name, value in os.environ.items() if not name.startswith("QCAPP_")}
    server = {"QCAPP_DATABASE_URL": url.replace("/" + urlsplit(url).path[1:], "/postgres", 1)} if url else {}
    done = subprocess.run([sys.executable, "-c", HOUSES], env=others | ours | server, capture_output=True, text=True)
    if url:
        assert done.stdout.split() == ["qcapp_benchmark_tests", "1", "qcapp_benchmark_tests", "2"], done.stderr
    else:
        assert "Only a database on PostgreSQL can be kept" in done.stderr
        assert not list(tmp_path.glob("*benchmark*"))


def test_says_what_it_takes() -> None:
    assert "traceability" in registry.load()
    told = io.StringIO()
    call_command("benchmark", "--core", "--repeats", "1", "--scale", "0.01", "--json", "-", stdout=told)
    assert json.loads(told.getvalue())["repeats"] == 1
