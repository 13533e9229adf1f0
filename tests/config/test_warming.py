"""What a server has read before its first request."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
ASK = """
import gc, json, sys
import qcapp.config.wsgi
from django.urls import get_resolver

read = set(sys.modules)
views = set()
def walk(patterns):
    for one in patterns:
        walk(one.url_patterns) if hasattr(one, "url_patterns") else views.add(one.callback.__module__)
walk(get_resolver().url_patterns)

from decimal import Decimal
from qcapp.core.metrology.quantities import convert
convert(Decimal("0.7"), "in", "mm")
print(json.dumps({"late": sorted(views - read) + sorted(set(sys.modules) - read), "frozen": gc.get_freeze_count()}))
"""


def test_it_has_read_every_view_and_the_units_before_its_first_request(tmp_path: Path) -> None:
    kept = {name: value for name, value in os.environ.items() if not name.startswith(("QCAPP_", "DJANGO_"))}
    variables = kept | {"QCAPP_DATA_DIR": str(tmp_path), "QCAPP_DEBUG": "yes", "PYTHONWARNINGS": "ignore"}
    done = subprocess.run([sys.executable, "-c", ASK], cwd=REPOSITORY, env=variables, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["late"] == []
    assert told["frozen"] > 50_000
