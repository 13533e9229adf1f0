"""Steps on a site with a copy that follows it: `python -m tests.config.on_replica STOP`, in a process of its own.

STOP is the command, as JSON, that stops the copy. Commits wait until the copy has applied them, unless a step says
otherwise, so that nothing here depends on how fast it follows. Prints what was seen as JSON.
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import Any

import django


def main() -> None:
    django.setup()
    from django.db import connections
    from django.test import Client, override_settings
    from django.test.utils import CaptureQueriesContext
    from django.utils import timezone

    from qcapp.config.replica import REPLICA
    from qcapp.people import services
    from qcapp.people.roles import Role

    def say(alias: str, statement: str) -> None:
        with connections[alias].cursor() as cursor:
            cursor.execute(statement)

    def look(path: str) -> dict[str, Any]:
        first, copy = (CaptureQueriesContext(connections[alias]) for alias in ("default", REPLICA))
        with first, copy:
            answer = client.get(path)
        tables = {word.strip('"') for each in first for word in each["sql"].split() if word.startswith('"')}
        return {
            "status": answer.status_code,
            "from": answer.headers.get("Qcapp-Read-From", ""),
            "copy": len(copy),
            "first": sorted(tables & {"production_item", "production_unit", "inspections_result"}),
        }

    def act(language: str) -> None:
        services.set_language(by=manager, language=language, at=timezone.now())

    now = timezone.now()
    say("default", "SET synchronous_commit = remote_apply")
    manager = services.add_person(by=None, badge="1041", name="Isolde Brandt", initials="IB", at=now)
    for role in (Role.QUALITY_MANAGER, Role.ENGINEER):
        services.give_role(by=None, person=manager, role=role, at=now)
    client = Client()
    client.force_login(manager)
    seen = {"level": look("/units/"), "account": look("/account/")}
    say(REPLICA, "SELECT pg_wal_replay_pause()")
    say("default", "SET synchronous_commit = local")
    act("de")
    seen["behind"] = look("/trends/")
    with override_settings(QCAPP_REPLICA_LAG=0):
        seen["too late"] = look("/trends/")
    say(REPLICA, "SELECT pg_wal_replay_resume()")
    say("default", "SET synchronous_commit = remote_apply")
    act("es")
    seen["level again"] = look("/trends/")
    say("default", "SET synchronous_commit = local")
    connections[REPLICA].close()
    subprocess.run(json.loads(sys.argv[1]), check=True, capture_output=True)  # the command of the test
    answer = client.get("/units/")  # looked at without counting: that would connect to the copy
    seen["gone"] = {"status": answer.status_code, "from": answer.headers.get("Qcapp-Read-From", "")}
    sys.stdout.write("\n" + json.dumps(seen))


if __name__ == "__main__":
    main()
