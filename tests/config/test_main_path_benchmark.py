"""The benchmark of the main path: its frames are as true as the product's own, and it touches nothing but its own."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from django.utils import timezone

from qcapp.audit.queries import check_chain
from qcapp.config.benchmarks.dataset import RESULTS, Shop
from qcapp.inspections.models import Result
from qcapp.inspections.queries import inspection_of
from qcapp.inspections.services.projection import differences

REPOSITORY = Path(__file__).resolve().parents[2]
MEASURED = {
    "submit 160 results in one request": "at most 5×",
    "history page, p95": "below 60 ms",
    "search by fragment, p95": "",
    "bench of a tablet, p95": "",
    "history page, p95 with 2 frames": "at most 1.3×",
    "certificate, asked for the first time": "at most 1.25×",
}


@pytest.mark.django_db
def test_loads_frames_that_the_product_takes_for_its_own() -> None:
    shop = Shop.made(timezone.now())
    serials = shop.load_frames(1, 2, lambda done: None)
    views = [inspection_of(serial) for serial in serials]
    assert [(view.progress.answered, view.progress.stages_signed) for view in views] == [(169, 9), (169, 9)]
    typed = Result.objects.filter(item=views[0].unit.item_id, inspection=1).exclude(purpose="computed")
    assert typed.count() == RESULTS
    assert differences() == []
    assert check_chain().broken is None


@pytest.mark.both_databases
def test_measures_on_a_database_of_its_own(tmp_path: Path) -> None:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))}
    ours = {"QCAPP_DATA_DIR": str(tmp_path), "QCAPP_SECRET_KEY": "one that only this test uses, " * 3}
    if url := os.environ.get("QCAPP_TEST_DATABASE_URL"):
        ours["QCAPP_DATABASE_URL"] = url
    command = [sys.executable, "manage.py", "benchmark", "--main", "--scale", "0.001", "--repeats", "1", "--json", "-"]
    done = subprocess.run(command, cwd=REPOSITORY, env=kept | ours, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    lines = {line["name"]: line for line in json.loads(done.stdout)["measurements"]}
    assert {name: line["goal"] for name, line in lines.items()} == MEASURED
    assert all(line["ratio"] == pytest.approx(line["value"] / line["baseline"]) for line in lines.values())
    assert not list(tmp_path.iterdir())
