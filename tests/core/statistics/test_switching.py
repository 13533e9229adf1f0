"""Normal, tightened and reduced inspection (acceptance_switching_rules; score steps from memory).

The schemes of the two standards disagree on the way to reduced inspection and on discontinuation. The
product follows the switching score of ISO 2859-1:1999, because the limit numbers of MIL-STD-105E need a
table that is not at hand, and takes that number from the caller where the older scheme is wanted.
Discontinuation: five lots not accepted, as in MIL-STD-105E and ISO 2859-1:1999, not ten lots in a row as in
MIL-STD-105D.
"""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.statistics.sampling import LotResult, Severity, next_severity, switching
from qcapp.core.statistics.switching import (
    ACCEPTED_TO_RELAX,
    LOTS_FOR_REDUCED,
    NOT_ACCEPTED_TO_STOP,
    SCORE_FOR_REDUCED,
    TOO_MANY_IN_WINDOW,
    WINDOW,
)
from tests.core.statistics.vectors import load

RULES = load("acceptance_switching_rules")
OLDER, _, SCORED = RULES["rules"]
ALLOWED: dict[str, Any] = {"production_steady": True, "reduced_wanted": True}
GOOD = LotResult(accepted=True, accept_number=2, accepted_one_step_tighter=True)
NORMAL, TIGHTENED, REDUCED = Severity.NORMAL, Severity.TIGHTENED, Severity.REDUCED


def test_counts_as_the_standards_do() -> None:
    for scheme in (OLDER, SCORED):
        assert scheme["start"] == next_severity([])
        tighter = scheme["normal_to_tightened"]
        assert tighter["window_consecutive_lots"] == WINDOW
        assert tighter.get("rejected_lots", tighter.get("not_accepted_lots")) == TOO_MANY_IN_WINDOW
        assert scheme["tightened_to_normal"]["consecutive_accepted"] == ACCEPTED_TO_RELAX
        assert scheme["discontinue"]["cumulative_lots_not_accepted_on_tightened"] == NOT_ACCEPTED_TO_STOP
    assert OLDER["normal_to_reduced"]["preceding_lots_accepted"] == LOTS_FOR_REDUCED
    assert SCORED["switching_score"]["threshold_for_reduced"] == SCORE_FOR_REDUCED


@pytest.mark.parametrize("apart", [1, 2, 3, 4])
def test_tightens_after_two_of_five_lots_or_fewer(apart: int) -> None:
    history = [False] + [True] * (apart - 1) + [False]
    assert next_severity(history) is TIGHTENED
    assert next_severity(history[:-1]) is NORMAL


def test_stays_normal_when_the_two_lie_further_apart() -> None:
    assert next_severity([False] + [True] * 4 + [False]) is NORMAL


def test_relaxes_after_five_accepted_in_a_row_and_starts_to_count_anew() -> None:
    tightened = [False, False]
    assert next_severity([*tightened, *[True] * 4]) is TIGHTENED
    assert next_severity([*tightened, *[True] * 5]) is NORMAL
    assert next_severity([*tightened, True, True, False, True, True, True]) is TIGHTENED
    assert next_severity([*tightened, *[True] * 5, False]) is NORMAL  # lots before the change no longer count


def test_stops_after_five_not_accepted_on_tightened_in_total() -> None:
    history: list[bool] = [False, False]
    for _ in range(4):
        history += [True, True, False]
    assert next_severity(history) is TIGHTENED
    stopped = [*history, True, False]
    assert next_severity(stopped) is Severity.DISCONTINUED
    assert next_severity([*stopped, *[True] * 20]) is Severity.DISCONTINUED
    resumed = [*stopped, LotResult(accepted=True, severity=TIGHTENED)]
    assert next_severity(resumed) is TIGHTENED
    assert next_severity([*resumed, *[True] * 4]) is NORMAL


@pytest.mark.parametrize(
    ("lot", "fact"),
    [
        (GOOD, RULES["derived_counts"][0]),
        (LotResult(accepted=True, accept_number=1), RULES["derived_counts"][1]),
    ],
)
def test_reaches_the_score_after_as_many_lots_as_published(lot: LotResult, fact: dict[str, Any]) -> None:
    assert next_severity([lot] * (fact["lots"] - 1), **ALLOWED) is NORMAL
    assert next_severity([lot] * fact["lots"], **ALLOWED) is REDUCED


def test_scores_lot_by_lot() -> None:
    barely = LotResult(accepted=True, accept_number=3, accepted_one_step_tighter=False)
    assert switching([GOOD] * 4).score == 12
    assert switching([GOOD] * 4 + [barely]).score == 0
    assert switching([GOOD] * 4 + [LotResult(accepted=True, accept_number=0)]).score == 14
    assert switching([GOOD] * 4 + [False]).score == 0
    assert switching([GOOD] * 4 + [False, GOOD]).score == 3


@pytest.mark.parametrize("missing", ["production_steady", "reduced_wanted"])
def test_never_reduces_without_steady_production_and_somebody_who_wants_it(missing: str) -> None:
    allowed = {**ALLOWED, missing: False}
    assert next_severity([GOOD] * 30, **allowed) is NORMAL
    assert next_severity([GOOD] * 30) is NORMAL


def test_goes_back_to_normal_when_the_reasons_for_reduced_are_gone() -> None:
    reduced = [GOOD] * 10
    assert next_severity([*reduced, False], **ALLOWED) is NORMAL
    assert next_severity([*reduced, LotResult(accepted=True, between_numbers=True)], **ALLOWED) is NORMAL
    assert next_severity([*reduced, True], **ALLOWED) is REDUCED
    assert next_severity([], start=REDUCED) is NORMAL
    assert "not steady" in switching([True], start=REDUCED).reason


def test_says_of_the_first_lot_why_it_is_inspected_as_it_is() -> None:
    assert switching([]).reason == "No earlier lot calls for tightened or reduced inspection."
    assert switching([True, True]).reason == switching([]).reason


def test_reduces_by_the_limit_number_where_one_is_given() -> None:
    lots = [LotResult(accepted=True, found=1)] * 10
    assert next_severity(lots, **ALLOWED, limit_number=10) is REDUCED
    assert next_severity(lots, **ALLOWED, limit_number=9) is NORMAL
    assert next_severity(lots[:9], **ALLOWED, limit_number=10) is NORMAL
    assert next_severity([*lots[:9], LotResult(accepted=False)], **ALLOWED, limit_number=10) is NORMAL


def test_does_not_count_lots_handed_in_again() -> None:
    again = LotResult(accepted=False, resubmitted=True)
    assert next_severity([False, again, again]) is NORMAL


def test_follows_what_a_person_decided() -> None:
    decided = switching([LotResult(accepted=True, severity=TIGHTENED)])
    assert decided.severity is TIGHTENED
    as_text = LotResult(accepted=True, severity="tightened")  # type: ignore[arg-type]
    assert next_severity([as_text]) is TIGHTENED
    assert decided.reason == "A person decided so."


@given(st.lists(st.booleans(), max_size=60))
def test_knows_no_other_way_than_the_rules(history: list[bool]) -> None:
    """Without leave for reduced inspection the next lot is normal, tightened or not inspected, and a lot
    that is accepted never makes it stricter."""
    before = next_severity(history)
    assert before in (NORMAL, TIGHTENED, Severity.DISCONTINUED)
    strictness = {NORMAL: 0, TIGHTENED: 1, Severity.DISCONTINUED: 2}
    assert strictness[next_severity([*history, True])] <= strictness[before]
    assert strictness[next_severity([*history, False])] >= strictness[before]
