"""The API against its own description, called by everybody of the floor and by a stranger."""

from __future__ import annotations

import pytest

from ..factories.inspections import Workshop
from .described import EXAMPLES, Caller, in_words

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("part", ["", "inspector", "welder", "assembler", "goods_in", "stranger_to_all_roles"])
def test_answers_as_described(workshop: Workshop, part: str, pytestconfig: pytest.Config) -> None:
    caller = Caller(workshop, getattr(workshop.cast, part) if part else None)
    caller.call_everything(EXAMPLES * (10 if pytestconfig.getoption("--long") else 1))
    assert not caller.problems, in_words(caller.problems)
    assert caller.statuses[401 if not part else 400] > 0
