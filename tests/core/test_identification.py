"""Serial numbers by pattern, and VINs against the worked examples of 49 CFR 565.15."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid, Refused
from qcapp.core.identification import check_vin, lookup_key, serial_pattern, vin_check_digit

VECTORS = Path(__file__).parents[1] / "vectors"
VINS = json.loads((VECTORS / "vin.json").read_text("utf-8"))["cases"]
SERIALS = json.loads((VECTORS / "serials.json").read_text("utf-8"))
GOOD = "1Z9FR10M8VA000124"  # constructed, of no real vehicle

LITERALS = st.text("ABCFRX0129-./", max_size=8)
VIN_TEXT = st.text("ABCDEFGHJKLMNPRSTUVWXYZ0123456789", min_size=17, max_size=17)


# ---------------------------------------------------------------------------------------------------- VINs


@pytest.mark.parametrize("case", VINS, ids=lambda case: case["vin"])
def test_finds_in_each_worked_vin_what_its_source_says(case: dict[str, object]) -> None:
    vin = str(case["vin"])
    assert sorted({finding.code for finding in check_vin(vin)}) == case["findings"]


@pytest.mark.parametrize("case", [c for c in VINS if c["check_digit"]], ids=lambda case: case["vin"])
def test_computes_the_check_digit_of_each_worked_vin(case: dict[str, object]) -> None:
    assert vin_check_digit(str(case["vin"])) == case["check_digit"]
    assert case["check_digit"] == "0123456789X"[int(str(case["weighted_sum"])) % 11]


@given(VIN_TEXT)
def test_accepts_any_vin_completed_with_its_check_digit(vin: str) -> None:
    vin = vin[:8] + vin_check_digit(vin) + vin[9:]
    assert not {"vin_check_digit", "vin_check_position"} & {finding.code for finding in check_vin(vin)}


@given(st.integers(0, 16), st.sampled_from("0123456789"))
def test_notices_any_single_wrong_digit(position: int, digit: str) -> None:
    # Weights 2 to 10 are units modulo 11, so one digit for another always changes the sum.
    wrong = GOOD[:position] + digit + GOOD[position + 1 :]
    assume(GOOD[position].isdigit() and wrong != GOOD)
    assert "vin_check_digit" in {finding.code for finding in check_vin(wrong)}


def test_names_position_and_remedy_of_a_wrong_check_digit() -> None:
    (finding,) = check_vin(GOOD[:8] + "3" + GOOD[9:])
    assert (finding.code, finding.place) == ("vin_check_digit", "9")
    assert "is 3 and should be 8" in finding.message


def test_names_each_character_that_is_not_used() -> None:
    findings = check_vin("IZ9FR10M8VA00O124")
    assert [(finding.code, finding.place) for finding in findings] == [
        ("vin_character", "1"),
        ("vin_character", "14"),
    ]


def test_refuses_small_letters_and_letters_of_other_alphabets() -> None:
    assert {f.code for f in check_vin(GOOD.lower())} == {"vin_character"}
    assert {f.code for f in check_vin(GOOD.replace("A", "А"))} == {"vin_character"}  # Cyrillic


@pytest.mark.parametrize("code", ["U", "Z", "0"])
def test_finds_a_year_code_that_stands_for_no_year(code: str) -> None:
    vin = GOOD[:9] + code + GOOD[10:]
    vin = vin[:8] + vin_check_digit(vin) + vin[9:]
    assert [(f.code, f.place) for f in check_vin(vin)] == [("vin_year", "10")]


def test_wants_digits_at_the_end_three_of_a_small_maker_and_four_of_others() -> None:
    small, other = "1Z9FR10M8VA00X124", "1ZAFR10M8VA00X124"
    assert "vin_end" not in {f.code for f in check_vin(small)}
    assert ("vin_end", "14") in {(f.code, f.place) for f in check_vin(other)}


def test_leaves_out_the_american_rules_where_they_do_not_apply() -> None:
    foreign = GOOD[:8] + "Z" + "0" + GOOD[10:]
    assert {f.code for f in check_vin(foreign)} == {"vin_check_position", "vin_year"}
    assert check_vin(foreign, north_america=False) == []


@pytest.mark.parametrize(("vin", "code"), [("", "vin_length"), (GOOD[:-1], "vin_length"), ("I" * 17, "vin_character")])
def test_refuses_a_check_digit_of_what_is_no_vin(vin: str, code: str) -> None:
    with pytest.raises(Invalid) as refusal:
        vin_check_digit(vin)
    assert refusal.value.code == code


# ----------------------------------------------------------------------------------------- serial numbers


@pytest.mark.parametrize("case", SERIALS["cases"], ids=lambda case: f"{case['serial']}-{case.get('year')}")
def test_reads_a_serial_and_gives_the_next(case: dict[str, object]) -> None:
    pattern = serial_pattern(str(case["pattern"]))
    serial = str(case["serial"])
    assert pattern.matches(serial)
    assert pattern.number(serial) == case["number"]
    assert pattern.next(serial, year=case.get("year")) == case["next"]  # type: ignore[arg-type]


@pytest.mark.parametrize("case", SERIALS["refused"], ids=lambda case: case["serial"])
def test_refuses_a_serial_of_another_form(case: dict[str, str]) -> None:
    pattern = serial_pattern(case["pattern"])
    assert [finding.code for finding in pattern.check(case["serial"])] == [case["code"]]
    assert not pattern.matches(case["serial"])
    for read in (pattern.number, pattern.next):
        with pytest.raises(Invalid) as refusal:
            read(case["serial"])
        assert refusal.value.code == case["code"]


@pytest.mark.parametrize("text", SERIALS["patterns_refused"])
def test_refuses_a_pattern_that_could_not_number_parts(text: str) -> None:
    with pytest.raises(Invalid) as refusal:
        serial_pattern(text)
    assert refusal.value.code == "serial_pattern"


def test_allows_serials_up_to_their_greatest_length() -> None:
    fields = "{year:4}{number:9}"
    assert len(serial_pattern("A" * 27 + fields).next(None, year=2031)) == 40
    with pytest.raises(Invalid, match="longer than 40"):
        serial_pattern("A" * 28 + fields)


def test_counts_half_a_century_ahead_as_later() -> None:
    assert serial_pattern("AX-{year:2}-{number:5}").next("AX-31-00009", year=2081) == "AX-81-00001"


def test_starts_at_one() -> None:
    assert serial_pattern("FR-200-{number:4}").next(None) == "FR-200-0001"
    assert serial_pattern("AX-{year:2}-{number:5}").next(None, year=2031) == "AX-31-00001"


def test_refuses_to_number_past_the_last_digit() -> None:
    with pytest.raises(Refused) as refusal:
        serial_pattern("FR-200-{number:4}").next("FR-200-9999")
    assert refusal.value.code == "serials_used_up"


@pytest.mark.parametrize("year", [None, 31, 0, 10_000])
def test_refuses_a_year_pattern_without_a_year(year: int | None) -> None:
    with pytest.raises(Invalid) as refusal:
        serial_pattern("AX-{year:2}-{number:5}").next(None, year=year)
    assert refusal.value.code == "year_missing"


def test_refuses_to_number_on_in_an_earlier_year() -> None:
    pattern = serial_pattern("AX-{year:2}-{number:5}")
    with pytest.raises(Refused) as refusal:
        pattern.next("AX-31-00009", year=2030)
    assert refusal.value.code == "serial_year_earlier"
    with pytest.raises(Refused):
        serial_pattern("{year:4}-{number:3}").next("2031-001", year=2030)


def test_shows_how_its_serials_look() -> None:
    assert serial_pattern("AX-{year:2}-{number:5}").example == "AX-00-00001"
    assert "FR-200-0001" in serial_pattern("FR-200-{number:4}").check("x")[0].message


@st.composite
def patterns(draw: st.DrawFn) -> str:
    fields = [f"{{number:{draw(st.integers(1, 9))}}}"]
    if draw(st.booleans()):
        fields.append(f"{{year:{draw(st.sampled_from([2, 4]))}}}")
    fields = draw(st.permutations(fields))
    return draw(LITERALS) + "".join(field + draw(LITERALS) for field in fields)


@given(patterns(), st.integers(1, 10**9), st.integers(1900, 9999))
def test_counts_up_by_one_within_a_year(text: str, number: int, year: int) -> None:
    pattern = serial_pattern(text)
    number = number % (10**pattern.digits - 1) or 1
    year_text = str(year % 10 ** (pattern.year_digits or 1)).zfill(pattern.year_digits or 0)
    last = "".join(
        content if kind == "text" else year_text if kind == "year" else str(number).zfill(pattern.digits)
        for kind, content in pattern.parts
    )
    following = pattern.next(last, year=year)
    assert pattern.number(last) == number
    assert pattern.number(following) == number + 1
    assert len(following) == len(last)


@given(patterns(), st.integers(1900, 2100), st.integers(1, 6))
def test_never_gives_a_serial_twice(text: str, year: int, years: int) -> None:
    pattern = serial_pattern(text)
    given_out: list[str] = []
    for offset in range(years):
        for _ in range(3):
            last = given_out[-1] if given_out else None
            if last and pattern.number(last) == 10**pattern.digits - 1:
                break
            given_out.append(pattern.next(last, year=year + offset))
    assert len(set(given_out)) == len(given_out)


# --------------------------------------------------------------------------------------------- looking up


@pytest.mark.parametrize(
    "typed", ["fr-200-0124", "FR 200 0124", "FR200O124", "fr–200–oi24".replace("i", "1"), "FR-2OO-OI24"]
)
def test_finds_a_serial_however_it_is_typed(typed: str) -> None:
    assert lookup_key(typed) == lookup_key("FR-200-0124") == "FR2000124"


@given(st.text(max_size=20))
def test_makes_keys_that_stay_as_they_are(text: str) -> None:
    assert lookup_key(lookup_key(text)) == lookup_key(text)


def test_keeps_different_numbers_apart() -> None:
    assert lookup_key("FR-200-0124") != lookup_key("FR-200-0125")
