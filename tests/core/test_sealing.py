"""Canonical text, digests and chains, against RFC 8785, FIPS 180-4, RFC 4231 and a public library."""

from __future__ import annotations

import doctest
import json
from collections.abc import Callable
from decimal import Decimal
from enum import StrEnum
from pathlib import Path

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core import sealing
from qcapp.core.errors import Invalid
from qcapp.core.sealing import MAX_DEPTH, START, Break, Entry, canonical, chain, digest, first_broken, keyed

VECTORS = json.loads((Path(__file__).parents[1] / "vectors" / "sealing.json").read_text("utf-8"))

TEXT = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=12)
LEAVES = st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | TEXT
DATA = st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(TEXT, inner, max_size=4))
HEADERS = st.lists(TEXT, min_size=3, max_size=9)


def sequence(headers: list[str], start: str = START, first: int = 1) -> list[Entry]:
    entries, previous = [], start
    for number, header in enumerate(headers, start=first):
        current = chain(previous, number, header)
        entries.append((number, header, previous, current))
        previous = current
    return entries


# ----------------------------------------------------------------------------------------- canonical text


@pytest.mark.parametrize("case", VECTORS["canonical"], ids=lambda case: case["source"][:32])
def test_writes_what_the_standard_shows(case: dict[str, object]) -> None:
    text = canonical(case["input"])
    assert list(json.loads(text)) == case["keys_in_order"]
    assert case["text"] in (None, text)


@given(DATA)
def test_writes_what_another_implementation_of_the_standard_writes(data: object) -> None:
    assert canonical(data).encode("utf-8") == rfc8785.dumps(data)  # type: ignore[arg-type]


@given(DATA)
def test_reads_back_to_the_same_data_and_the_same_text(data: object) -> None:
    text = canonical(data)
    assert json.loads(text) == data
    assert canonical(json.loads(text)) == text


@given(st.dictionaries(TEXT, LEAVES, min_size=2, max_size=6), st.randoms())
def test_does_not_depend_on_the_order_of_keys(data: dict[str, object], shuffle: object) -> None:
    keys = list(data)
    shuffle.shuffle(keys)  # type: ignore[attr-defined]
    assert canonical({key: data[key] for key in keys}) == canonical(data)


def test_sorts_keys_by_utf_16_where_code_points_would_sort_otherwise() -> None:
    assert canonical({"\ufb33": 1, "\U0001f602": 2}) == '{"\U0001f602":2,"\ufb33":1}'


def test_keeps_the_zeros_of_a_value_sent_as_text() -> None:
    assert canonical({"value": "12.50"}) != canonical({"value": "12.5"})


def test_writes_the_value_of_an_enumeration() -> None:
    class State(StrEnum):
        DRAFT = "draft"

    assert canonical({"state": State.DRAFT}) == '{"state":"draft"}'


@pytest.mark.parametrize(
    ("data", "code", "place"),
    [
        (1.5, "number_not_text", "$"),
        ({"a": [1, 2.0]}, "number_not_text", "$.a[1]"),
        (Decimal("1.5"), "number_not_text", "$"),
        ("a\0b", "nul_character", "$"),
        ({"a\0": 1}, "nul_character", "$"),
        ("\ud800", "half_character", "$"),
        ("x\udfff", "half_character", "$"),
        ({"a": ["ö\udc00"]}, "half_character", "$.a[0]"),
        ({1: "a"}, "key_not_text", "$"),
        ((1, 2), "not_canonical", "$"),
        ({"a": b"x"}, "not_canonical", "$.a"),
        (2**53, "integer_too_large", "$"),
        (-(2**53), "integer_too_large", "$"),
    ],
)
def test_refuses_what_has_no_single_exact_text(data: object, code: str, place: str) -> None:
    with pytest.raises(Invalid) as refusal:
        canonical(data)
    assert (refusal.value.code, refusal.value.details["place"]) == (code, place)


def test_says_that_decimals_travel_as_text() -> None:
    with pytest.raises(Invalid, match="send it as text"):
        canonical({"value": Decimal("12.50")})


@pytest.mark.parametrize("wrap", [lambda inner: [inner], lambda inner: {"k": inner}, lambda inner: {"ö": inner}])
def test_nests_up_to_its_limit_and_no_deeper(wrap: Callable[[object], object]) -> None:
    data: object = "core"
    for _ in range(MAX_DEPTH):
        data = wrap(data)
    assert json.loads(canonical(data)) == data
    with pytest.raises(Invalid) as refusal:
        canonical(wrap(data))
    assert refusal.value.code == "nested_too_deep"


def test_takes_whole_numbers_up_to_the_exact_range() -> None:
    for number in (2**53 - 1, 1 - 2**53):
        for data in ([number], {"ö": number}):
            assert json.loads(canonical(data)) == data


def test_refuses_endless_nesting() -> None:
    data: list[object] = []
    data.append(data)
    with pytest.raises(Invalid) as refusal:
        canonical(data)
    assert refusal.value.code == "nested_too_deep"


# ------------------------------------------------------------------------------------------------ digests


@pytest.mark.parametrize("case", VECTORS["digests"], ids=lambda case: case["source"][:32])
def test_gives_the_published_digests(case: dict[str, str]) -> None:
    assert digest(case["text"]) == case["sha256"]


@pytest.mark.parametrize("case", VECTORS["keyed"], ids=lambda case: case["source"][:24])
def test_gives_the_published_keyed_digests(case: dict[str, str]) -> None:
    assert keyed(case["text"], bytes.fromhex(case["key_hex"])) == case["hmac"]


def test_refuses_a_keyed_digest_without_a_key() -> None:
    with pytest.raises(Invalid) as refusal:
        keyed("text", b"")
    assert refusal.value.code == "key_missing"


def test_covers_number_header_and_predecessor_apart_from_each_other() -> None:
    made = {chain(START, 1, "a"), chain(START, 2, "a"), chain(START, 1, "b"), chain("1" * 64, 1, "a")}
    assert len(made) == 4
    assert chain(START, 1, '","x') != chain(START + '","x', 1, "")


# -------------------------------------------------------------------------------------------------- chains


@given(HEADERS)
def test_finds_nothing_in_a_whole_chain(headers: list[str]) -> None:
    entries = sequence(headers)
    assert first_broken(entries) is None
    assert first_broken(iter(entries), head=(entries[-1][0], entries[-1][3])) is None


def test_finds_nothing_in_an_empty_chain() -> None:
    assert first_broken([]) is None


@given(HEADERS, st.integers(0, 99), TEXT)
def test_finds_an_altered_header(headers: list[str], at: int, other: str) -> None:
    entries = sequence(headers)
    at %= len(entries)
    number, header, previous, made = entries[at]
    entries[at] = (number, other if other != header else header + "x", previous, made)
    broken = first_broken(entries)
    assert broken is not None
    assert (broken.number, broken.reason) == (number, Break.ALTERED)


@given(HEADERS, st.integers(0, 99), TEXT)
def test_finds_an_entry_altered_together_with_its_digest(headers: list[str], at: int, other: str) -> None:
    entries = sequence(headers)
    at %= len(entries) - 1  # of the last entry only the known head can tell
    number, header, previous, _ = entries[at]
    header = other if other != header else header + "x"
    entries[at] = (number, header, previous, chain(previous, number, header))
    broken = first_broken(entries)
    assert broken is not None
    assert (broken.number, broken.reason) == (number + 1, Break.UNLINKED)


@given(HEADERS, st.integers(0, 99))
def test_finds_a_missing_entry(headers: list[str], at: int) -> None:
    entries = sequence(headers)
    removed = entries.pop(at % (len(entries) - 1))
    broken = first_broken(entries)
    assert broken is not None
    assert (broken.number, broken.reason) == (removed[0], Break.MISSING)


@given(HEADERS, st.integers(0, 99), TEXT)
def test_finds_an_inserted_entry(headers: list[str], at: int, header: str) -> None:
    entries = sequence(headers)
    at %= len(entries)
    number, _, previous, made = entries[at]
    entries.insert(at + 1, (number, header, made, chain(made, number, header)))
    broken = first_broken(entries)
    assert broken is not None
    assert (broken.number, broken.reason) == (number + 1, Break.INSERTED)
    assert previous != made


@given(HEADERS, st.integers(0, 99), TEXT)
def test_finds_an_entry_inserted_under_the_next_number(headers: list[str], at: int, header: str) -> None:
    entries = sequence(headers)
    at %= len(entries) - 1
    number, made = entries[at][0] + 1, entries[at][3]
    entries.insert(at + 1, (number, header, made, chain(made, number, header)))
    broken = first_broken(entries)
    assert broken is not None
    assert broken.number in (number, number + 1)


@given(HEADERS, st.integers(0, 99), st.integers(0, 99))
def test_finds_two_exchanged_entries(headers: list[str], one: int, other: int) -> None:
    entries = sequence(headers)
    one, other = one % len(entries), other % len(entries)
    if one == other:
        other = (one + 1) % len(entries)
    first = min(one, other)
    entries[one], entries[other] = entries[other], entries[one]
    broken = first_broken(entries)
    assert broken is not None
    assert (broken.number, broken.reason) == (first + 1, Break.REORDERED)


@given(HEADERS, st.integers(0, 99))
def test_finds_a_cut_end_only_with_the_known_head(headers: list[str], keep: int) -> None:
    entries = sequence(headers)
    keep %= len(entries)
    head = (entries[-1][0], entries[-1][3])
    assert first_broken(entries[:keep]) is None
    broken = first_broken(entries[:keep], head=head)
    assert broken is not None
    assert (broken.number, broken.reason) == (keep + 1, Break.CUT)


def test_finds_a_full_rewrite_only_with_the_known_head() -> None:
    head = sequence(["a", "b", "c"])[-1]
    rewritten = sequence(["a", "x", "c"])
    assert first_broken(rewritten) is None
    broken = first_broken(rewritten, head=(head[0], head[3]))
    assert broken is not None
    assert (broken.number, broken.reason) == (3, Break.UNLINKED)


def test_finds_a_rewrite_behind_a_known_head_that_is_not_the_last() -> None:
    known = sequence(["a", "b"])[-1]
    broken = first_broken(sequence(["a", "x", "c", "d"]), head=(known[0], known[3]))
    assert broken is not None
    assert broken.number == 2


@given(HEADERS, st.integers(1, 99))
def test_checks_from_an_anchor_onwards(headers: list[str], at: int) -> None:
    entries = sequence(headers)
    at %= len(entries)
    start = entries[at][2]
    assert first_broken(entries[at:], start=start, first_number=at + 1) is None
    broken = first_broken(entries[at:], start=digest("another"), first_number=at + 1)
    assert broken is not None
    assert broken.reason is Break.UNLINKED


def test_finds_an_entry_numbered_before_the_first() -> None:
    entries = sequence(["a", "b"], first=0)
    broken = first_broken(entries)
    assert broken is not None
    assert (broken.number, broken.reason) == (1, Break.INSERTED)
    assert "before the first number" in broken.message


def test_says_that_a_number_comes_again() -> None:
    entries = sequence(["a", "b"])
    broken = first_broken([entries[0], entries[0]])
    assert broken is not None
    assert broken.message == "Number 1 comes again where 2 was due."


@pytest.mark.parametrize(
    "spoil",
    [
        lambda entry: (entry[0], "a\0b", entry[2], entry[3]),
        lambda entry: (entry[0], entry[1], entry[2], "ö"),
        lambda entry: (entry[0], entry[1], "\ud800", entry[3]),
    ],
)
def test_calls_an_entry_altered_that_cannot_even_be_sealed(spoil: Callable[[Entry], Entry]) -> None:
    entries = sequence(["a", "b", "c"])
    entries[1] = spoil(entries[1])
    broken = first_broken(entries)
    assert broken is not None
    assert (broken.number, broken.reason) == (2, Break.ALTERED)


def test_holds_what_its_docstring_shows() -> None:
    shown = doctest.testmod(sealing)
    assert (shown.failed, shown.attempted > 0) == (0, True)
