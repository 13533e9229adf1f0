"""A fragment that many components share leads to their frames, in as many queries as for one."""

from __future__ import annotations

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from qcapp.core.identification import lookup_key
from qcapp.customers.lookup import look_up
from qcapp.production.models import Identity, Installation, Unit
from qcapp.production.queries.as_built import holders_by_item, items_above
from tests.affected.records import make
from tests.cast import FIXED_NOW, Cast
from tests.factories.inspections import Workshop
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory

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


VIN = "1M8GDM9AXKP042788"  # of 49 CFR 565, the worked example of its check digit
FRAME, FORK = "FR-200-0147", "FK-30-0010"


@pytest.fixture
def called_about(certified: Workshop) -> Workshop:
    """FR-200-0147: released, certified, ordered, with a VIN and a fork in it; another frame has an order of nobody."""
    frame = Unit.objects.get(serial=FRAME)
    Unit.objects.filter(pk=frame.pk).update(order_number="S-1184")
    Identity.objects.create(
        item=frame.item, kind="vin", text=VIN, lookup=lookup_key(VIN), by=certified.cast.inspector, at=FIXED_NOW
    )
    fork = UnitFactory(
        serial=FORK, lookup=lookup_key(FORK), number=10, item=ItemFactory(family=FamilyFactory(code="FK-30"))
    )
    Installation.objects.create(
        item=frame.item, component=fork.item, link="delivered_with", by=certified.cast.assembler, at=FIXED_NOW
    )
    UnitFactory(number=901, order_number="PO 45-0O1/I")
    return certified


SPOKEN = (
    ("147", "serial"), ("fr 2oo-o147", "serial"), ("FR200–0147", "serial"),  # with a dash of a word processor
    ("2788", "VIN"), ("im8 gdm9 axkp o42788", "VIN"), ("9AXK", "VIN"),
    ("s1184", "order"), ("S-I I84", "order"), ("1184", "order"),
    ("orchard rise", "order"), ("0rchard", "order"), ("c-104", "order"),
    ("fk30 oo1o", "component"), ("FK-30-0010", "component"),
    ("FR-2026-0001", "certificate"), ("fr 2o26 oooi", "certificate"), ("2026-0001", "certificate"),
)  # fmt: skip
WILD = ("%", "_", "FR%147", "2_88", "FR-200-014[67]", "*", ".*", "\\", "x" * 10_000, "0" * 10_000)


def test_finds_the_frame_by_whatever_is_read_out(called_about: Workshop) -> None:
    for fragment, by in SPOKEN:
        found = {one.unit.serial: one.by for one in look_up(fragment, names=True)}
        assert found.get(FRAME) == by, fragment
    for wild in WILD:
        assert look_up(wild, names=True) == [], wild[:20]


def test_finds_an_order_that_no_customer_is_known_for_as_it_is_spoken(called_about: Workshop) -> None:
    (wanted,) = Unit.objects.filter(number=901).values_list("serial", flat=True)
    for fragment in ("po 45-001/1", "PO45OO1", "4500I/I"):
        assert [one.unit.serial for one in look_up(fragment, names=False)] == [wanted], fragment


def test_puts_a_mark_that_ends_so_before_many_newer_that_only_hold_it(called_about: Workshop) -> None:
    other = UnitFactory(number=902)
    rows = [f"T-2788-{place:03}" for place in range(60)]
    Identity.objects.bulk_create(
        Identity(item=other.item, kind="tag", text=text, lookup=lookup_key(text), by=called_about.cast.inspector,
                 at=FIXED_NOW)
        for text in rows
    )  # fmt: skip
    assert look_up("2788", names=False)[0].unit.serial == FRAME
