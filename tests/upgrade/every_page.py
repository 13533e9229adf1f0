"""Opens every page of the site of the environment as somebody who may, and prints the statuses as JSON.

`python -m tests.upgrade.every_page`, in a process of its own: another database than the tests'.
"""

from __future__ import annotations

import json
import sys

import django


def main() -> None:
    """{"shown": how many pages answered 200, "kinds": of how many addresses, "wrong": [[path, what], …]}."""
    django.setup()
    from django.urls import resolve

    from qcapp.config.demonstration.cast import Cast
    from qcapp.people.models import Person
    from tests.journeys.test_query_counts import REFUSED, pages

    cast = Cast({person.badge: person for person in Person.objects.order_by("badge")})
    shown, wrong, kinds = 0, [], set()
    for path, client in pages(cast):
        try:
            status = client.get(path).status_code
        except Exception as error:
            wrong.append([path, repr(error)])
            continue
        if status == 200:
            shown += 1
            kinds.add(resolve(path.partition("?")[0]).route)
        elif status not in {204, 302, *REFUSED}:
            wrong.append([path, str(status)])
    sys.stdout.write(json.dumps({"shown": shown, "kinds": sorted(kinds), "wrong": wrong}))


if __name__ == "__main__":
    main()
