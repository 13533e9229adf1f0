"""Moving between normal, tightened and reduced inspection, lot by lot.

Two schemes agree on everything but the way to reduced inspection: - switching score of ISO 2859-1:1999,
9.3.3 (followed here, because it needs no further table): 30 points; - limit number of MIL-STD-105E 4.7.3:
ten lots accepted with a total of nonconforming pieces that does not exceed the number of its Table VIII.
That table is not at hand, so the caller reads the number and gives it. Both also want steady production and
the wish of the responsible person. Only lots at their first inspection count. Discontinuation follows ISO
2859-1:1999 and MIL-STD-105E (five lots not accepted on tightened inspection, in total); MIL-STD-105D had
ten lots in a row on tightened inspection.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

SCORE_FOR_REDUCED = 30
LOTS_FOR_REDUCED = 10
WINDOW, TOO_MANY_IN_WINDOW = 5, 2
ACCEPTED_TO_RELAX = 5
NOT_ACCEPTED_TO_STOP = 5


class Severity(StrEnum):
    NORMAL = "normal"
    TIGHTENED = "tightened"
    REDUCED = "reduced"
    DISCONTINUED = "discontinued"


@dataclass(frozen=True)
class LotResult:
    """One lot. `accept_number` is that of the plan used, `accepted_one_step_tighter` whether the count
    would also have passed at the next lower AQL; both feed the switching score. `found` feeds the limit
    number. `severity` records what was in force where a person decided it. `between_numbers` marks a count
    between the numbers of a reduced plan. A lot handed in again does not count (`resubmitted`)."""

    accepted: bool
    accept_number: int = 0
    accepted_one_step_tighter: bool = False
    found: int = 0
    severity: Severity | None = None
    between_numbers: bool = False
    resubmitted: bool = False


@dataclass(frozen=True)
class Switching:
    """What applies to the next lot, why, and the switching score so far."""

    severity: Severity
    reason: str
    score: int


@dataclass
class _State:
    severity: Severity
    reason: str = "No earlier lot calls for tightened or reduced inspection."
    score: int = 0
    lots: list[LotResult] = field(default_factory=list)  # since this severity began
    before: tuple[int, list[LotResult]] = (0, [])  # score and lots when this severity began

    def move(self, severity: Severity, reason: str) -> None:
        self.before = (self.score, self.lots)
        self.severity, self.reason, self.score, self.lots = severity, reason, 0, []

    def stay_normal(self) -> None:
        """Reduced inspection was open and the next lot was inspected as normal: nothing began, the score goes on."""
        self.severity, self.reason = Severity.NORMAL, "Reduced inspection was open and was not taken up."
        self.score, self.lots = self.before


def next_severity(
    history: Iterable[LotResult | bool],
    *,
    production_steady: bool = False,
    reduced_wanted: bool = False,
    limit_number: int | None = None,
    start: Severity = Severity.NORMAL,
) -> Severity:
    """How the next lot is inspected, from the lots so far, oldest first (True for accepted, False for not).

    `discontinued` means that no lot is inspected until the supplier's corrective action has worked; it then
    goes on tightened, with a lot recorded so. Reduced inspection needs both `production_steady` and
    `reduced_wanted`.
    """
    return switching(
        history,
        production_steady=production_steady,
        reduced_wanted=reduced_wanted,
        limit_number=limit_number,
        start=start,
    ).severity


def switching(
    history: Iterable[LotResult | bool],
    *,
    production_steady: bool = False,
    reduced_wanted: bool = False,
    limit_number: int | None = None,
    start: Severity = Severity.NORMAL,
) -> Switching:
    """As `next_severity`, with the reason in a sentence and the score."""
    state = _State(Severity(start))
    reduced_allowed = production_steady and reduced_wanted
    for entry in history:
        lot = entry if isinstance(entry, LotResult) else LotResult(accepted=entry)
        if lot.severity == Severity.NORMAL and state.severity is Severity.REDUCED and not state.lots:
            state.stay_normal()
        elif lot.severity is not None and lot.severity != state.severity:
            state.move(Severity(lot.severity), "A person decided so.")
        if lot.resubmitted:
            continue
        state.lots.append(lot)
        _after_lot(state, lot, reduced_allowed, limit_number)
    if state.severity is Severity.REDUCED and not reduced_allowed:
        state.move(Severity.NORMAL, "Production is not steady, or reduced inspection is not wanted.")
    return Switching(state.severity, state.reason, state.score)


def _after_lot(state: _State, lot: LotResult, reduced_allowed: bool, limit_number: int | None) -> None:
    match state.severity:
        case Severity.NORMAL:
            _after_normal(state, lot, reduced_allowed, limit_number)
        case Severity.TIGHTENED:
            _after_tightened(state)
        case Severity.REDUCED:
            _after_reduced(state, lot)
        case Severity.DISCONTINUED:
            pass  # stays so until a person records a lot under another severity


def _after_normal(state: _State, lot: LotResult, reduced_allowed: bool, limit_number: int | None) -> None:
    not_accepted = sum(not each.accepted for each in state.lots[-WINDOW:])
    if not_accepted >= TOO_MANY_IN_WINDOW:
        state.move(Severity.TIGHTENED, "Two of five lots in a row or fewer were not accepted.")
        return
    state.score = _score_after(state.score, lot)
    if not reduced_allowed:
        return
    if limit_number is None and state.score >= SCORE_FOR_REDUCED:
        state.move(Severity.REDUCED, f"The switching score reached {SCORE_FOR_REDUCED}.")
    elif limit_number is not None and _within_limit_number(state.lots, limit_number):
        state.move(Severity.REDUCED, "Ten lots were accepted within the limit number.")


def _score_after(score: int, lot: LotResult) -> int:
    """ISO 2859-1:1999, 9.3.3.2 (steps from memory)."""
    if not lot.accepted:
        return 0
    if lot.accept_number >= 2:
        return score + 3 if lot.accepted_one_step_tighter else 0
    return score + 2


def _within_limit_number(lots: list[LotResult], limit_number: int) -> bool:
    last = lots[-LOTS_FOR_REDUCED:]
    accepted = len(last) == LOTS_FOR_REDUCED and all(lot.accepted for lot in last)
    return accepted and sum(lot.found for lot in last) <= limit_number


def _after_tightened(state: _State) -> None:
    if sum(not lot.accepted for lot in state.lots) >= NOT_ACCEPTED_TO_STOP:
        state.move(Severity.DISCONTINUED, "Five lots were not accepted on tightened inspection.")
    elif len(state.lots) >= ACCEPTED_TO_RELAX and all(lot.accepted for lot in state.lots[-ACCEPTED_TO_RELAX:]):
        state.move(Severity.NORMAL, "Five lots in a row were accepted on tightened inspection.")


def _after_reduced(state: _State, lot: LotResult) -> None:
    if not lot.accepted:
        state.move(Severity.NORMAL, "A lot was not accepted on reduced inspection.")
    elif lot.between_numbers:
        state.move(Severity.NORMAL, "A count fell between the numbers of the reduced plan.")
