"""A fragment that many components share leads to their frames, in as many queries as for one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qcapp.customers.lookup import look_up
from qcapp.production.models import Installation, Unit
from qcapp.production.queries.as_built import holders_by_item, items_above
from tests.affected.records import make
from tests.cast import Cast

pytestmark = pytest.mark.django_db
MOST = 13


def test_finds_for_each_item_what_it_is_in(cast: Cast) -> None:
    make(cast)
    items = sorted(Unit.objects.values_list("item_id", flat=True))
    above = holders_by_item(items)
    assert len(above) > 3
    assert {item: items_above([item]) for item in items if items_above([item])} == above


def test_leads_from_components_to_their_frames_in_a_handful_of_queries(cast: Cast) -> None:
    make(cast)
    inside = Installation.objects.filter(removal__isnull=True).values_list("component_id", flat=True)
    serials = list(Unit.objects.filter(item__in=inside).order_by("-id").values_list("serial", flat=True))
    shared = max((serial[:3] for serial in serials), key=[serial[:3] for serial in serials].count)
    with CaptureQueriesContext(connection) as captured:
        found = look_up(shared, names=True)
    assert any(one.by == "component" for one in found)
    assert len(captured) <= MOST
