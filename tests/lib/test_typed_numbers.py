"""Numbers typed into fields of the office: a comma and a point are read alike, what has two meanings is refused."""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from django import forms
from django.utils import translation
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.lib.typed_numbers import NumberField, typed_number

ROOT = Path(__file__).resolve().parents[2]


class Asked(forms.Form):
    value = NumberField(label="Value", required=False)
    money = NumberField(label="Money", required=False, decimal_places=2, min_value=0)


def read(text: str, name: str = "value") -> Decimal | str | None:
    """The number, or the code of the refusal."""
    form = Asked({name: text})
    value: Decimal | None = form.cleaned_data[name] if form.is_valid() else None
    return value if form.is_valid() else form.errors.as_data()[name][0].code or ""


@pytest.mark.parametrize(
    ("text", "english", "german"),
    [
        ("12,5", Decimal("12.5"), Decimal("12.5")),
        ("12.50", Decimal("12.50"), Decimal("12.50")),
        ("−0,125", Decimal("-0.125"), Decimal("-0.125")),
        ("0.125", Decimal("0.125"), Decimal("0.125")),
        ("1500", Decimal(1500), Decimal(1500)),
        ("1,500", "value_thousands", Decimal("1.500")),
        ("1.500", Decimal("1.500"), "value_thousands"),
        ("+12.345", Decimal("12.345"), "value_thousands"),
        ("1.5000", Decimal("1.5000"), Decimal("1.5000")),
        ("1.500,00", "value_two_marks", "value_thousands"),
        ("1,500.00", "value_thousands", "value_two_marks"),
        ("1 500", "value_not_a_number", "value_not_a_number"),
        ("1e3", "value_not_a_number", "value_not_a_number"),
        ("", None, None),
    ],
)
def test_reads_a_number_by_the_marks_of_the_page_and_refuses_one_of_two_meanings(
    text: str, english: object, german: object
) -> None:
    assert read(text) == english
    with translation.override("de"):
        assert read(text) == german


@given(st.decimals(-99999, 99999, places=4))
def test_reads_again_what_the_page_shows(number: Decimal) -> None:
    for code in ("en", "de"):
        with translation.override(code):
            shown = Asked(initial={"value": number})["value"].value()
            assert read(str(shown)) == number


def test_shows_a_number_with_the_mark_of_the_page_and_what_was_refused_as_it_was_typed() -> None:
    assert 'value="12.50"' in str(Asked(initial={"value": Decimal("12.50")})["value"])
    with translation.override("de"):
        assert 'value="12,50"' in str(Asked(initial={"value": Decimal("12.50")})["value"])
        assert 'value="1,250"' in str(Asked(initial={"value": Decimal("1.250")})["value"])
        assert 'value="1.500"' in str(Asked({"value": "1.500"})["value"])
        (said,) = Asked({"value": "1.500"}).errors["value"]
    assert said.startswith("A point before three digits can mean a thousand")


def test_keeps_the_bounds_of_a_field() -> None:
    assert read("-1", "money") == "min_value"
    assert read("1,255", "money") == "value_thousands"
    assert read("1.255", "money") == "max_decimal_places"


def test_says_what_is_wrong_of_a_number_outside_a_form() -> None:
    with translation.override("de"):
        assert typed_number("0,31 %", units=("%",)) == Decimal("0.31")
        with pytest.raises(Invalid, match="decimal comma") as refusal:
            typed_number("1.050 MPa", units=("MPa",))
    assert refusal.value.code == "value_thousands"


def test_lets_no_form_take_a_number_in_another_way() -> None:
    """Django's own field refuses a comma and takes 1e3; a browser's number field leaves out what it does not like."""
    sources = [file for file in (ROOT / "qcapp").rglob("*.py") if "capture" not in file.parts]
    code = {file: file.read_text(encoding="utf-8") for file in sources}
    other = re.compile(r"\bforms\.(DecimalField|FloatField)\(")
    assert [str(file) for file, text in code.items() if other.search(text)] == []
