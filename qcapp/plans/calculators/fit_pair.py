"""The fit of a hole and a shaft: limits of both, the clearances they leave, and the usual pairs for comparison."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from qcapp.core.checkpoints.limits import places
from qcapp.core.errors import Invalid
from qcapp.core.metrology import fits
from qcapp.core.metrology.quantities import as_text

from .sizes import Sized, Wanted, signed, sized

USUAL_PAIRS = (
    ("H11", "d9", "loose running"),
    ("H9", "e9", "easy running"),
    ("H8", "f7", "running"),
    ("H7", "g6", "sliding, closely guided"),
    ("H7", "h6", "locating, put together by hand"),
    ("H7", "js6", "locating, light taps"),
    ("H7", "k6", "locating, light press"),
    ("H7", "n6", "locating, firm press"),
    ("H7", "p6", "press fit"),
    ("H7", "s6", "heavy press fit"),
)
"""Pairs of the hole-basis system and what they are used for: common practice, no source."""

_WORDS = {"clearance": "Clearance fit", "transition": "Transition fit", "interference": "Interference fit"}


@dataclass(frozen=True)
class Extreme:
    """The least or the most that a pair leaves: a clearance, or an interference where it is below zero."""

    what: str
    amount: Decimal

    @property
    def text(self) -> str:
        """`0.007 mm`."""
        return f"{as_text(abs(self.amount))} mm"


@dataclass(frozen=True)
class FitPair:
    """A hole and a shaft of one size. `deviations` in µm by side: hole and shaft, lower and upper."""

    size: Decimal
    hole: Sized
    shaft: Sized
    fit: fits.Fit

    @property
    def asked(self) -> str:
        """`30 H7/g6`."""
        return f"{as_text(self.size)} {self.hole.wanted.notation}/{self.shaft.wanted.notation}"

    @property
    def headline(self) -> str:
        return _WORDS[self.fit.kind]

    @property
    def extremes(self) -> tuple[Extreme, Extreme]:
        """The two ends of what the pair leaves, the looser one last."""
        return _extreme(self.fit.min_clearance, "least"), _extreme(self.fit.max_clearance, "most")

    @property
    def source(self) -> str:
        return f"{self.hole.source}; {self.shaft.source}"

    @property
    def copy_text(self) -> str:
        """One line for a message or a note."""
        low, high = (f"{one.what} {one.text}" for one in self.extremes)
        return (
            f"{self.asked}: {self.headline.lower()}, {low}, {high}; "
            f"hole {self.hole.headline}, shaft {self.shaft.headline} ({self.source})"
        )

    @property
    def parts(self) -> tuple[tuple[str, Sized], tuple[str, Sized]]:
        return ("hole", self.hole), ("shaft", self.shaft)


def _extreme(clearance: Decimal, end: str) -> Extreme:
    """Negative clearance is an interference, and its least is the most negative clearance's other end."""
    if clearance < 0:
        return Extreme("greatest interference" if end == "least" else "least interference", clearance)
    return Extreme("least clearance" if end == "least" else "most clearance", clearance)


def fit_pair(size: Decimal, hole: str, shaft: str) -> FitPair:
    """The fit of two classes of one size in mm. Raises Invalid as `fits.fit` does."""
    fit = fits.fit(size, hole, shaft)
    return FitPair(size, sized(Wanted(size, hole, "mm")), sized(Wanted(size, shaft, "mm")), fit)


@dataclass(frozen=True)
class UsualPair:
    """One row of the usual pairs at a size."""

    pair: FitPair
    use: str
    chosen: bool

    @property
    def clearances(self) -> str:
        """`+0.007 to +0.041`, interferences below zero, mm."""
        low, high = self.pair.fit.min_clearance, self.pair.fit.max_clearance
        decimals = max(places(low), places(high))
        return f"{signed(low, decimals)} to {signed(high, decimals)}"


def usual_pairs(size: Decimal, hole: str, shaft: str) -> list[UsualPair]:
    """The usual pairs at this size; a pair that the tables do not reach is left out."""
    rows = []
    for usual_hole, usual_shaft, use in USUAL_PAIRS:
        try:
            pair = fit_pair(size, usual_hole, usual_shaft)
        except Invalid:
            continue
        rows.append(UsualPair(pair, use, (usual_hole, usual_shaft) == (hole, shaft)))
    return rows
