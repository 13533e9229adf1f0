"""Steps on a site with a copy that follows it: `python -m tests.config.on_replica STOP`, in a process of its own.

STOP is the command, as JSON, that stops the copy. Commits wait until the copy has applied them, unless a step says
otherwise, so that nothing here depends on how fast it follows. Prints what was seen as JSON.
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import TYPE_CHECKING, Any

import django

if TYPE_CHECKING:
    from django.test import Client

    from qcapp.people.models import Person

COPY = "replica"
TABLES = frozenset({"production_item", "production_unit", "inspections_result"})


def say(alias: str, statement: str) -> None:
    from django.db import connections

    with connections[alias].cursor() as cursor:
        cursor.execute(statement)


def look(client: Client, path: str) -> dict[str, Any]:
    """The answer, where it says that it was read, and what was asked of either database."""
    from django.db import connections
    from django.test.utils import CaptureQueriesContext

    first, copy = (CaptureQueriesContext(connections[alias]) for alias in ("default", COPY))
    with first, copy:
        answer = client.get(path)
    asked = {word.strip('"') for each in first for word in each["sql"].split() if word.startswith('"')}
    return told(answer) | {"copy": len(copy), "first": sorted(asked & TABLES)}


def told(answer: Any) -> dict[str, Any]:
    return {"status": answer.status_code, "from": answer.headers.get("Qcapp-Read-From", "")}


def someone() -> Person:
    """Somebody who may look at everything that is asked for."""
    from django.utils import timezone

    from qcapp.people import services
    from qcapp.people.roles import Role

    now = timezone.now()
    person = services.add_person(by=None, badge="1041", name="Isolde Brandt", initials="IB", at=now)
    for role in (Role.QUALITY_MANAGER, Role.ENGINEER):
        services.give_role(by=None, person=person, role=role, at=now)
    return person


def act(person: Person, language: str) -> None:
    """Something that the audit chain tells of."""
    from django.utils import timezone

    from qcapp.people import services

    services.set_language(by=person, language=language, at=timezone.now())


def followed(client: Client, person: Person) -> dict[str, Any]:
    """What is seen while the copy is level, held back, held back for too long, and level again."""
    from django.test import override_settings

    seen = {"level": look(client, "/units/"), "account": look(client, "/account/")}
    seen["charts"] = look(client, "/trends/")
    seen["affected"] = look(client, "/affected/")
    seen["affected by the API"] = look(client, "/api/v1/affected-lists")
    say(COPY, "SELECT pg_wal_replay_pause()")
    say("default", "SET synchronous_commit = local")
    act(person, "de")
    seen["behind"] = look(client, "/trends/")
    with override_settings(QCAPP_REPLICA_LAG=0):
        seen["too late"] = look(client, "/trends/")
    say(COPY, "SELECT pg_wal_replay_resume()")
    say("default", "SET synchronous_commit = remote_apply")
    act(person, "es")
    return seen | {"level again": look(client, "/trends/")}


def gone(client: Client, stop: list[str]) -> dict[str, Any]:
    """What is seen once the copy is stopped, without counting: that would connect to it."""
    from django.db import connections

    say("default", "SET synchronous_commit = local")
    connections[COPY].close()
    subprocess.run(stop, check=True, capture_output=True)  # the command of the test
    return told(client.get("/units/"))


def main() -> None:
    django.setup()
    from django.test import Client

    say("default", "SET synchronous_commit = remote_apply")
    person, client = someone(), Client()
    client.force_login(person)
    seen = followed(client, person)
    seen["gone"] = gone(client, json.loads(sys.argv[1]))
    sys.stdout.write("\n" + json.dumps(seen))


if __name__ == "__main__":
    main()
