"""Looking up families and units, and proposing serials."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from qcapp.core.errors import NotFound, Refused
from qcapp.production import queries
from qcapp.production.queries import orders
from tests.factories.production import FamilyFactory, ItemFactory, UnitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def frames():
    FamilyFactory(serial_pattern="FR-200-{number:4}")
    return [UnitFactory(number=number) for number in (147, 148, 1470, 2147)]


def serials(cards):
    return [card.serial for card in cards]


def test_finds_a_unit_by_its_serial_in_one_query(frames, django_assert_num_queries):
    with django_assert_num_queries(1):
        card = queries.unit_by_serial(" fr-200-0147")
    assert (card.family_code, card.certificate_prefix, card.number) == ("FR-200", "FR", 147)


def test_an_unknown_serial_is_answered_with_those_near_it(frames):
    with pytest.raises(NotFound) as caught:
        queries.unit_by_serial("FR-200-147O")
    assert caught.value.code == "serial_unknown"
    assert caught.value.details["near"] == ["FR-200-1470"]
    with pytest.raises(NotFound) as caught:
        queries.unit_by_serial("FR-200-0149")
    assert set(caught.value.details["near"]) <= {"FR-200-0147", "FR-200-0148", "FR-200-1470", "FR-200-2147"}
    assert len(caught.value.details["near"]) == 3


@pytest.mark.parametrize("serial", ["", "\0", "x" * 500, "%", "FR_200_0147"])
def test_odd_serials_are_unknown_and_nothing_worse(frames, serial):
    with pytest.raises(NotFound):
        queries.unit_by_serial(serial)


def test_puts_the_best_match_first(frames):
    UnitFactory(number=5, serial="1472-X", lookup="1472X", item=ItemFactory())
    assert serials(queries.find_units("0147")) == ["FR-200-0147", "FR-200-1470"]
    assert serials(queries.find_units("147")) == ["FR-200-2147", "FR-200-0147", "1472-X", "FR-200-1470"]
    assert serials(queries.find_units("fr 200 0147"))[0] == "FR-200-0147"
    assert serials(queries.find_units("FR2OO-O147"))[0] == "FR-200-0147"


def test_a_fragment_of_nothing_finds_nothing_and_the_newest_are_asked_for_by_name(frames):
    assert queries.find_units("--- ") == []
    assert queries.find_units("9" * 41) == []
    assert queries.find_units("%") == []
    assert serials(queries.recent_units(limit=2)) == ["FR-200-2147", "FR-200-1470"]


def test_proposes_the_serial_after_the_highest(frames):
    assert queries.propose_serial("fr-200", 2026) == "FR-200-2148"
    FamilyFactory(code="FK-30", serial_pattern="FK-30-{number:5}")
    assert queries.propose_serial("FK-30", 2026) == "FK-30-00001"


def test_numbers_begin_again_with_the_year_in_the_serial():
    family = FamilyFactory(code="AX", serial_pattern="AX-{year:2}-{number:3}")
    item = ItemFactory(family=family)
    UnitFactory(number=31, serial="AX-25-031", item=item)
    assert queries.propose_serial("AX", 2026) == "AX-26-001"
    UnitFactory(number=2, serial="AX-26-002", item=ItemFactory(family=family))
    assert queries.propose_serial("AX", 2026) == "AX-26-003"
    assert queries.propose_serial("AX", 2025) == "AX-25-032"


def test_says_when_the_serials_are_used_up():
    FamilyFactory(code="ZZ", serial_pattern="ZZ{number:1}")
    UnitFactory(number=9, serial="ZZ9", item=ItemFactory(family__code="ZZ"))
    with pytest.raises(Refused, match="used up"):
        queries.propose_serial("ZZ", 2026)


def test_knows_families_whatever_the_case_and_no_others():
    FamilyFactory()
    assert queries.family_by_code("fr-200").name == "trike frame"
    assert [family.code for family in queries.families()] == ["FR-200"]
    for code in ("FR-300", "", "\0"):
        with pytest.raises(NotFound) as caught:
            queries.family_by_code(code)
        assert caught.value.code == "family_unknown"


def test_finds_units_by_key_and_by_item(frames):
    unit = frames[0]
    assert queries.unit_by_id(unit.pk) == queries.unit_of_item(unit.item_id)
    assert queries.units_of_items([unit.item_id, 0])[unit.item_id].serial == unit.serial
    for reader in (queries.unit_by_id, queries.unit_of_item):
        with pytest.raises(NotFound):
            reader(0)


@pytest.mark.parametrize("few", [0, 1, 500])
def test_finds_units_by_part_of_an_order_newest_first_however_many_they_are(frames, monkeypatch, few):
    monkeypatch.setattr(orders, "FEW", few)
    now = timezone.now()
    for age, unit in enumerate(frames[:3]):
        type(unit).objects.filter(pk=unit.pk).update(
            order_number=f"So-{1184 + age}", opened_at=now - age * timedelta(days=1)
        )
    held = {unit.item_id: unit.serial for unit in frames}

    def found(fragment, **limit):
        return [held[item] for item, _ in orders.items_by_order_fragment(fragment, **limit)]

    assert found("sO-118") == ["FR-200-0147", "FR-200-0148", "FR-200-1470"]
    assert found("SO-118", limit=2) == ["FR-200-0147", "FR-200-0148"]
    assert orders.items_by_order_fragment("1185") == [(frames[1].item_id, "So-1185")]
    assert orders.items_by_order_fragment("1190") == []
