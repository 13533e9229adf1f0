"""Whatever statement the server dies at: an act is whole or has not been, and done again it is done once.

A submission that raises a report, a release, an issue: each is stopped at its first statement, its second, and so on
through all of them; savepoints included.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

import pytest
from django.db import OperationalError, connection

from qcapp.certificates.queries import certificates_of, release_state
from qcapp.nonconformance.models import Report

from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from ..unchanged import rows_of

PLACES = ("certificates", "production", "inspections", "nonconformance", "people.Signature", "shop_messages")
pytestmark = pytest.mark.django_db


class KilledError(OperationalError):
    """The plug was pulled: what the driver says when the server is gone."""


@contextmanager
def dying_at(number: int) -> Iterator[list[int]]:
    """The statement of this number never happens; gives a list that holds how many there were."""
    seen = [0]

    def pull(execute: Callable[..., Any], *call: Any) -> Any:
        seen[0] += 1
        if seen[0] == number:
            raise KilledError
        return execute(*call)

    with connection.execute_wrapper(pull):
        yield seen


def stopped_everywhere(act: Callable[[], object]) -> int:
    """Stop the act at each of its statements in turn; nothing may be left. Then do it. Gives how many there are."""
    before = rows_of(*PLACES)
    number = 0
    while True:
        number += 1
        with dying_at(number) as seen:
            try:
                act()
            except KilledError:
                pass
            else:
                break
        assert rows_of(*PLACES) == before, f"stopped at statement {number} of the act, something is left"
    assert seen[0] == number - 1
    return number - 1


def test_a_submission_leaves_nothing_or_everything(workshop: Workshop) -> None:
    operation = workshop.operation("head_angle", "66.00")
    assert stopped_everywhere(lambda: workshop.send(operation)) > 10
    assert Report.objects.count() == 1
    workshop.send(operation)
    assert Report.objects.count() == 1


def test_a_release_leaves_nothing_or_everything(ready: Workshop) -> None:
    assert stopped_everywhere(lambda: release_unit(ready)) > 10
    state = release_state(ready.serial)
    assert (state.released, len(state.releases)) == (True, 1)


def test_an_issue_of_a_certificate_leaves_nothing_or_everything(ready: Workshop) -> None:
    release_unit(ready)
    assert stopped_everywhere(lambda: certified(ready)) > 10
    assert [card.number for card in certificates_of(ready.item_id)] == ["FR-2026-0001"]
