"""The API against its own description, called by everybody of the office."""

from __future__ import annotations

import pytest

from qcapp.people.roles import OFFICE

from ..factories.inspections import Workshop
from .described import EXAMPLES, Caller, in_words, operations

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("part", sorted(role.value for role in OFFICE))
def test_answers_as_described(workshop: Workshop, part: str, pytestconfig: pytest.Config) -> None:
    caller = Caller(workshop, getattr(workshop.cast, part))
    caller.call_everything(EXAMPLES * (10 if pytestconfig.getoption("--long") else 1))
    assert not caller.problems, in_words(caller.problems)
    assert {200, 400, 403, 404} <= caller.statuses.keys()


def test_makes_at_least_twenty_thousand_requests_over_all_roles() -> None:
    callers = len(OFFICE) + 6
    assert len(operations()) * callers * EXAMPLES >= 20_000
