"""Typed values come back digit for digit, states are known words, identifiers stay in order."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

import pytest
import uuid6
from django.core import serializers
from django.core.exceptions import FieldError, ValidationError
from django.db import IntegrityError, connection, transaction

from qcapp.lib.fields import exact_decimal, uuid7

from .guarded.models import Drawing, Reading
from .guarded.states import Colour

# RFC 9562, appendix A.6: a version 7 example with unix_ts_ms 0x017F22E279B0.
EXAMPLE = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"


@pytest.mark.django_db
@pytest.mark.parametrize("digits", ["12.50", "0.00", "-0.050", "100", "1234567890.123456789", "-7"])
def test_brings_digits_back_as_they_were(digits: str) -> None:
    for value in (digits, Decimal(digits)):
        key = Reading.objects.create(value=value).pk
        back = Reading.objects.get(pk=key).value
        assert isinstance(back, Decimal)
        assert str(back) == digits


@pytest.mark.django_db
def test_stores_the_digits_as_text() -> None:
    Reading.objects.create(value=Decimal("1E+3"))
    with connection.cursor() as cursor:
        cursor.execute("SELECT value FROM guarded_reading")
        assert cursor.fetchone() == ("1000",)


@pytest.mark.django_db
def test_keeps_an_unanswered_value_apart_from_zero() -> None:
    Reading.objects.create(value=None, note="none")
    Reading.objects.create(value="0", note="zero")
    assert Reading.objects.get(value__isnull=True).note == "none"
    assert Reading.objects.get(value="0").note == "zero"


@pytest.mark.parametrize("value", [12.5, True, "NaN", "Infinity", "12,5", "12.5 mm", "½", b"1", Decimal("sNaN")])
def test_refuses_what_is_no_decimal(value: object) -> None:
    with pytest.raises(ValidationError) as caught:
        exact_decimal(value)
    assert caught.value.code == "digits"


@pytest.mark.django_db
def test_refuses_a_float_at_the_table_too() -> None:
    with pytest.raises(ValidationError), transaction.atomic():
        Reading.objects.create(value=0.1)
    assert Reading.objects.count() == 0


@pytest.mark.parametrize("lookup", ["lt", "gte", "range", "contains", "in"])
def test_refuses_to_compare_in_sql(lookup: str) -> None:
    with pytest.raises(FieldError):
        Reading.objects.filter(**{f"value__{lookup}": "1"})


def test_checks_the_length_of_the_digits() -> None:
    field = Reading._meta.get_field("value")
    assert field.clean("9" * 40, None) == Decimal("9" * 40)
    with pytest.raises(ValidationError):
        field.clean("9" * 41, None)


@pytest.mark.django_db
def test_survives_serializing() -> None:
    Reading.objects.create(value="12.50")
    (record,) = serializers.deserialize("json", serializers.serialize("json", Reading.objects.all()))
    assert str(record.object.value) == "12.50"


@pytest.mark.django_db
def test_takes_no_unknown_state() -> None:
    assert Drawing.objects.create(name="D1").colour == Colour.GREEN
    with pytest.raises(IntegrityError), transaction.atomic():
        Drawing.objects.create(name="D2", colour="blue")
    assert Drawing.objects.count() == 1


def test_makes_identifiers_as_the_standard_lays_them_out() -> None:
    """RFC 9562, 5.7: version 7, variant 10, milliseconds first; compared with a second library."""
    made = uuid7()
    assert (made.version, made.variant) == (7, uuid6.uuid7().variant)
    assert milliseconds(made) == pytest.approx(milliseconds(uuid6.uuid7()), abs=60_000)


def test_reads_the_standard_s_own_example() -> None:
    assert milliseconds(uuid6.UUID(EXAMPLE)) == 0x017F22E279B0


def test_makes_identifiers_in_the_order_of_their_making() -> None:
    made = [uuid7() for _ in range(2000)]
    assert made == sorted(made)
    assert len(set(made)) == 2000


def milliseconds(identifier: Any) -> int:
    return int(identifier.int >> 80)
