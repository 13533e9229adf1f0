"""Whether one unit's values were copied from the unit before it.

For each checkpoint the chance that two units show the same value is the sum of squared shares of its values. The number
of equal values on two units is then a sum of unlike coin tosses; its upper tail is bounded by that of a Poisson number
of the same mean (Hoeffding 1956, "On the distribution of the number of successes in independent trials", Annals of
Mathematical Statistics 27), so the probability given is too large rather than too small.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from itertools import pairwise

from qcapp.core.statistics.distributions import stats
from qcapp.core.statistics.plausibility import Hint

FEWEST_SHARED = 20  # values that two units have in common, below which nothing is said; our choice


def copied_units(texts: Mapping[str, Mapping[str, str]], order: Sequence[str]) -> list[tuple[str, Hint]]:
    """For each unit after the first in `order`: a hint on how many values are those of the unit before it.

    `texts` gives for each unit its typed values by checkpoint. Values that repeat from unit to unit anyhow, on a coarse
    gauge for example, count for little.
    """
    chance = _same_by_chance(texts)
    found = []
    for earlier, later in pairwise(order):
        shared = texts[earlier].keys() & texts[later].keys()
        if len(shared) < FEWEST_SHARED:
            continue
        equal = sum(texts[earlier][key] == texts[later][key] for key in shared)
        expected = sum(chance[key] for key in shared)
        p_value = float(stats().poisson.sf(equal - 1, expected)) if equal else 1.0
        words = f"{equal} of {len(shared)} values are those of {earlier}; about {expected:.0f} would be usual."
        found.append((later, Hint("copied_unit", "Poisson bound", float(equal), p_value, len(shared), words)))
    return found


def _same_by_chance(texts: Mapping[str, Mapping[str, str]]) -> dict[str, float]:
    values: dict[str, Counter[str]] = defaultdict(Counter)
    for answers in texts.values():
        for key, text in answers.items():
            values[key][text] += 1
    return {key: sum((count / some.total()) ** 2 for count in some.values()) for key, some in values.items()}
