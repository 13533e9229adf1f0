"""The lookup `among`: the same rows as `in`, on both databases, in one parameter however many keys."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qcapp.production.models import Installation, Unit
from tests.affected.records import make
from tests.cast import Cast

pytestmark = pytest.mark.django_db
MANY = 100_000  # more than a statement may have parameters


def test_finds_the_rows_that_in_finds(cast: Cast) -> None:
    make(cast)
    keys = sorted(Unit.objects.values_list("item_id", flat=True))
    for some in ([], keys[:1], keys[::2], keys, [*keys, keys[0]]):
        for path in ("item", "id", "opened_by"):
            by_in = Unit.objects.filter(**{f"{path}__in": some}).order_by("id")
            assert list(Unit.objects.filter(**{f"{path}__among": some}).order_by("id")) == list(by_in), path
    assert Installation.objects.filter(component__among=keys).exists()
    assert Unit.objects.exclude(item__among=keys[:3]).count() == len(keys) - 3


def test_sends_one_parameter_for_any_number_of_keys(cast: Cast) -> None:
    make(cast)
    keys = set(Unit.objects.values_list("id", flat=True))
    with CaptureQueriesContext(connection) as captured:
        found = Unit.objects.filter(id__among=keys | set(range(10**9, 10**9 + MANY))).count()
    assert (found, len(captured)) == (len(keys), 1)


def test_refuses_what_is_no_key() -> None:
    with pytest.raises(ValueError, match="invalid literal"):
        Unit.objects.filter(id__among=["1 OR 1=1"])
