"""Asks the site of the environment: `python -m tests.capture.on_restored session BADGE`, or `answers SERIAL`."""

from __future__ import annotations

import json
import sys
from typing import Any

import django


def session(badge: str) -> str:
    """The key of a new session of this person."""
    from qcapp.config.benchmarks.real_server import session_of
    from qcapp.people.models import Person

    return session_of(Person.objects.get(badge=badge))


def answers(serial: str) -> str:
    """What people answered about the unit, by checkpoint; and whether projection and audit chain hold."""
    from qcapp.audit.queries import check_chain
    from qcapp.inspections.models import Result
    from qcapp.inspections.services.projection import differences

    found: dict[str, list[str]] = {}
    rows: Any = Result.objects.filter(item__unit__serial=serial).exclude(purpose="computed").order_by("id")
    for key, raw in rows.values_list("characteristic__key", "raw"):
        found.setdefault(key, []).append(raw)
    broken = check_chain().broken
    return json.dumps({"answers": found, "wrong": differences(), "broken": broken and broken.message})


if __name__ == "__main__":
    django.setup()
    said = {"session": session, "answers": answers}[sys.argv[1]](sys.argv[2])
    sys.stdout.write(f"\n{said}\n")
