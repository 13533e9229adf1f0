"""Whatever commit the server dies at, before it or after: what is stored is whole, and asking again ends well.

After it is worse: the act is done, and nobody was told. The transactions are real, so each commit point is too.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import pytest
from django.db import OperationalError, connection

from qcapp.audit.queries import check_chain
from qcapp.certificates.models import Certificate
from qcapp.certificates.queries import certificates_of, release_state
from qcapp.core.errors import QcError
from qcapp.inspections.models import Result
from qcapp.inspections.services.projection import differences
from qcapp.nonconformance.models import Report

from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from ..unchanged import rows_of

PLACES = ("certificates", "production", "inspections", "nonconformance", "people.Signature", "shop_messages")
WHEN = ("before", "after")
pytestmark = pytest.mark.django_db(transaction=True)


class KilledError(OperationalError):
    """The plug was pulled: what the driver says when the server is gone."""


@contextmanager
def dying_at_commit(number: int, when: str, monkeypatch: pytest.MonkeyPatch) -> Iterator[list[int]]:
    """The commit of this number never happens, or nothing does after it; gives a list that holds how many came."""
    seen, commit = [0], connection._commit

    def pull() -> None:
        seen[0] += 1
        if seen[0] == number and when == "before":
            raise KilledError
        commit()
        if seen[0] == number:
            raise KilledError

    with monkeypatch.context() as patch:
        patch.setattr(connection, "_commit", pull)
        yield seen


def killed_at(act: Callable[[], object], number: int, when: str, monkeypatch: pytest.MonkeyPatch) -> bool:
    """Whether the act got as far as this commit. Killed before its only commit, it leaves nothing."""
    before = rows_of(*PLACES)
    with dying_at_commit(number, when, monkeypatch):
        try:
            act()
        except KilledError:
            pass
        else:
            return False
    if number == 1 and when == "before":
        assert rows_of(*PLACES) == before
    return True


def holds() -> None:
    assert differences() == []
    assert check_chain().broken is None


@pytest.mark.parametrize("when", WHEN)
def test_a_submission_is_stored_once(workshop: Workshop, when: str, monkeypatch: pytest.MonkeyPatch) -> None:
    operation, number = workshop.operation("head_angle", "66.00"), 1
    while killed_at(lambda: workshop.send(operation), number, when, monkeypatch):
        number += 1
    assert number > 1
    assert Result.objects.filter(operation=operation["id"]).count() == 1
    assert Report.objects.count() == 1
    holds()


@pytest.mark.parametrize("when", WHEN)
def test_a_release_is_done_once(ready: Workshop, when: str, monkeypatch: pytest.MonkeyPatch) -> None:
    assert killed_at(lambda: release_unit(ready), 1, when, monkeypatch)
    assert release_state(ready.serial).released is (when == "after")
    with suppress(QcError):  # released already, says the second try
        release_unit(ready)
    state = release_state(ready.serial)
    assert (state.released, len(state.releases)) == (True, 1)
    holds()


@pytest.mark.parametrize("when", WHEN)
def test_a_certificate_is_issued_once_under_the_next_number(
    ready: Workshop, when: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    release_unit(ready)
    assert killed_at(lambda: certified(ready), 1, when, monkeypatch)
    assert len(certificates_of(ready.item_id)) == (when == "after")
    with suppress(QcError):  # issued already, says the second try
        certified(ready)
    assert [(card.number, card.issue) for card in certificates_of(ready.item_id)] == [("FR-2026-0001", 1)]
    assert Certificate.objects.count() == 1
    holds()


def test_has_no_commit_point_that_was_left_out(ready: Workshop, monkeypatch: pytest.MonkeyPatch) -> None:
    """Release and issue are one transaction each: there is no place between two commits at which half of one stands."""
    with dying_at_commit(0, "before", monkeypatch) as seen:
        release_unit(ready)
    assert seen == [1]
    with dying_at_commit(0, "before", monkeypatch) as seen:
        certified(ready)
    assert seen == [1]
