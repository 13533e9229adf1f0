"""On which units a checkpoint is due, and which pieces of a lot are drawn. Common practice, no source."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.core.statistics.frequency import FrequencyKind, draw, due, parse_frequency


@pytest.mark.parametrize(
    ("frequency", "expected"),
    [
        ("every", [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
        ("1 in 5", [1, 6, 11]),
        ("1 in 1", [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]),
        ("1 in 20", [1]),
        ("first of batch", [1]),
    ],
)
def test_is_due_on_the_first_unit_and_then_as_often_as_said(frequency: str, expected: list[int]) -> None:
    assert [position for position in range(1, 12) if due(frequency, position)] == expected


def test_looks_at_the_place_in_the_batch_for_the_first_of_it() -> None:
    assert due("first of batch", 31, batch_position=1)
    assert not due("first of batch", 31, batch_position=2)
    assert not due("first of batch", 1, batch_position=2)
    assert due("1 in 5", 6, batch_position=2)
    assert due("every", 6, batch_position=2)


@given(st.integers(1, 400), st.integers(1, 5000))
def test_is_due_exactly_once_in_any_n_units_in_a_row(n: int, start: int) -> None:
    assert sum(due(f"1 in {n}", position) for position in range(start, start + n)) == 1


@pytest.mark.parametrize("text", ["1 in 5", " One  IN 5 ", "1 IN 5"])
def test_reads_frequencies_however_they_are_spaced(text: str) -> None:
    assert str(parse_frequency(text)) == "1 in 5"
    assert parse_frequency("Every unit").kind is FrequencyKind.EVERY
    assert str(parse_frequency("FIRST of batch")) == "first of batch"


@pytest.mark.parametrize("text", ["", "sometimes", "1 in 0", "2 in 5", "1 in -3", "1 in 2.5", "lot sample", "5"])
def test_refuses_a_frequency_it_does_not_understand(text: str) -> None:
    with pytest.raises(Invalid, match="1 in 5") as refusal:
        due(text, 1)
    assert refusal.value.code == "frequency_not_understood"


@pytest.mark.parametrize(("position", "batch"), [(0, None), (-1, None), (1, 0)])
def test_refuses_positions_below_one(position: int, batch: int | None) -> None:
    with pytest.raises(Invalid) as refusal:
        due("every", position, batch)
    assert refusal.value.code == "position_below_one"


@given(st.integers(1, 300).flatmap(lambda lot: st.tuples(st.just(lot), st.integers(1, lot))), st.integers())
def test_draws_different_pieces_of_the_lot_and_the_same_ones_again(case: tuple[int, int], seed: int) -> None:
    lot, sample = case
    drawn = draw(lot, sample, seed=seed)
    assert len(set(drawn)) == sample
    assert list(drawn) == sorted(drawn)
    assert 1 <= drawn[0] <= drawn[-1] <= lot
    assert draw(lot, sample, seed=seed) == drawn


def test_draws_every_piece_about_equally_often() -> None:
    counts = Counter(piece for seed in range(2000) for piece in draw(20, 5, seed=seed))
    assert set(counts) == set(range(1, 21))
    assert 400 < min(counts.values()) <= max(counts.values()) < 600  # 500 expected, 19 is a standard deviation


@pytest.mark.parametrize(("lot", "sample"), [(10, 11), (10, 0), (0, 1)])
def test_refuses_a_sample_the_lot_cannot_give(lot: int, sample: int) -> None:
    with pytest.raises(Invalid) as refusal:
        draw(lot, sample, seed="delivery 4711")
    assert refusal.value.code == "sample_larger_than_lot"


def test_samples_as_many_of_each_lot_as_the_standard_says() -> None:
    """Lot of 50, level II, AQL 1.0: letter D leads to 13, accept 0 (MIL-STD-105E, tables I, IIA)."""
    sample = parse_frequency("AQL 1.0 of 50").sample
    assert sample is not None
    assert (sample.sample_size, sample.accept, sample.reject) == (13, 0, 1)
    for lot in (0, 1, 7):
        assert sum(due("aql 1.0 of 50", 50 * lot + place) for place in range(1, 51)) == 13


@pytest.mark.parametrize("text", ["AQL 1.0", "AQL 1.1 of 50", "AQL 1.0 of 1", "AQL of 50"])
def test_refuses_a_sample_that_the_tables_do_not_have(text: str) -> None:
    with pytest.raises(Invalid):
        parse_frequency(text)
