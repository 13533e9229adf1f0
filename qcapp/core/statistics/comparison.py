"""Before against after: two shares by Fisher's exact test, two means by Welch's, each with the interval of the change.

Fisher: The Design of Experiments (1935), chapter II; the probabilities are hypergeometric and computed as exact
fractions. The interval of a difference of shares is Newcombe's hybrid score (Statistics in Medicine 17, 1998, method
10). Welch (Biometrika 34, 1947) with Satterthwaite's degrees of freedom, as in the NIST/SEMATECH e-Handbook 1.3.5.3.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import special, student_quantile
from qcapp.core.statistics.intervals import Interval, proportion_interval
from qcapp.core.statistics.moments import Moments, moments
from qcapp.core.statistics.readings import Values

Alternative = Literal["both", "fewer", "more"]
TIE = Fraction(1, 10**7)  # tables as likely as the one seen, but for rounding in other programs, count as such


@dataclass(frozen=True)
class Counted:
    """So many out of so many."""

    found: int
    of: int

    @property
    def share(self) -> float:
        return self.found / self.of if self.of else 0.0


@dataclass(frozen=True)
class ShareChange:
    """Two shares compared. `change` is after minus before; `p_value` says how often chance alone does as much."""

    before: Counted
    after: Counted
    p_value: float
    change: Interval


@dataclass(frozen=True)
class MeanChange:
    """Two means compared. `change` is after minus before."""

    before: Moments
    after: Moments
    t: float
    dof: float
    p_value: float
    change: Interval


def fisher_exact(before: Counted, after: Counted, alternative: Alternative = "both") -> float:
    """The probability, with both margins fixed, of a table at least as far from equal shares as this one.

    `fewer`: of as few found afterwards. `more`: of as many. `both`: of every table that is no more likely than this
    one. Raises Invalid `count_not_possible`.
    """
    _check(before)
    _check(after)
    total, found = before.of + after.of, before.found + after.found
    low, high = max(0, found - before.of), min(found, after.of)
    ways = {k: math.comb(after.of, k) * math.comb(before.of, found - k) for k in range(low, high + 1)}
    seen = ways[after.found]
    if alternative == "fewer":
        as_far = sum(count for k, count in ways.items() if k <= after.found)
    elif alternative == "more":
        as_far = sum(count for k, count in ways.items() if k >= after.found)
    else:
        as_far = sum(count for count in ways.values() if count <= seen * (1 + TIE))
    return float(Fraction(as_far, math.comb(total, found)))


def share_change(before: Counted, after: Counted, *, confidence: float = 0.95) -> ShareChange:
    """Two shares compared. Raises Invalid `count_not_possible` unless each is at least one out of something."""
    one = proportion_interval(before.found, before.of, confidence=confidence)
    two = proportion_interval(after.found, after.of, confidence=confidence)
    change = after.share - before.share
    lower = change - math.hypot(after.share - two.lower, one.upper - before.share)
    upper = change + math.hypot(two.upper - after.share, before.share - one.lower)
    interval = Interval(change, max(-1.0, lower), min(1.0, upper), confidence)
    return ShareChange(before, after, fisher_exact(before, after), interval)


def mean_change(before: Values, after: Values, *, confidence: float = 0.95) -> MeanChange:
    """Two means compared without presuming equal spread. Raises Refused `too_few_readings` under two readings each.

    Readings that do not vary at all on either side leave nothing to test with: Invalid `no_spread`.
    """
    one, two = moments(before), moments(after)
    parts = (one.standard_deviation**2 / one.n, two.standard_deviation**2 / two.n)
    square = sum(parts)
    if square == 0.0:
        raise Invalid("no_spread", "All values are the same on both sides, so there is no spread to compare with.")
    dof = square**2 / (parts[0] ** 2 / (one.n - 1) + parts[1] ** 2 / (two.n - 1))
    change, error = two.mean - one.mean, math.sqrt(square)
    t = change / error
    reach = student_quantile((1.0 + confidence) / 2.0, dof) * error
    p_value = 2.0 * float(special().stdtr(dof, -abs(t)))
    return MeanChange(one, two, t, dof, p_value, Interval(change, change - reach, change + reach, confidence))


def _check(counted: Counted) -> None:
    if not 0 <= counted.found <= counted.of:
        message = f"{counted.found} out of {counted.of} is not possible; correct one of the two."
        raise Invalid("count_not_possible", message)
