"""How far people agree when they judge the same parts, beyond what chance would give.

Kappa is 1 for full agreement and 0 for what chance gives. Sources: Cohen (1960) with the standard errors of
Fleiss, Cohen and Everitt (1969); Fleiss (1971), its interval from the linearised variance of Gwet (2008)
and its standard error without agreement from Fleiss, Nee and Landis (1979). Effectiveness of appraisers:
Measurement Systems Analysis reference manual, 4th edition 2010 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy

from qcapp.core.errors import Invalid, Refused
from qcapp.core.statistics.distributions import normal_above, normal_quantile
from qcapp.core.statistics.intervals import Interval, proportion_interval
from qcapp.core.statistics.readings import FloatArray, require_confidence

Weights: TypeAlias = Literal["linear", "quadratic"]
FEW_SUBJECTS = 20


@dataclass(frozen=True)
class Kappa:
    """Kappa with its interval. `standard_error` belongs to the interval, `standard_error_null` (without
    agreement) to `z` and its two-sided `p_value`. `observed` and `expected` are shares of agreement."""

    kappa: float
    standard_error: float
    lower: float
    upper: float
    standard_error_null: float
    z: float
    p_value: float
    observed: float
    expected: float
    n: int


def cohen_kappa(
    first: Sequence[Hashable],
    second: Sequence[Hashable],
    *,
    confidence: float = 0.95,
    order: Sequence[Hashable] | None = None,
    weights: Weights | None = None,
) -> Kappa:
    """Agreement of two people over the same parts, one verdict each.

    `order` fixes the categories' order, which `weights` (for graded verdicts) need.
    Raises Invalid `ratings_do_not_match`, `unknown_category`; Refused as `kappa_of_table`.
    """
    if len(first) != len(second):
        raise Invalid(
            "ratings_do_not_match",
            f"One person judged {len(first)} parts and the other {len(second)}; compare the same parts.",
        )
    if weights is not None and order is None:
        raise Invalid("order_missing", "Weights need the order of the categories; give them from low to high.")
    known = list(order) if order is not None else list(dict.fromkeys([*first, *second]))
    place = {category: at for at, category in enumerate(known)}
    table = numpy.zeros((len(known), len(known)))
    for one, other in zip(first, second, strict=True):
        if one not in place or other not in place:
            raise Invalid("unknown_category", f"The verdict {one!s}/{other!s} is not among the categories given.")
        table[place[one], place[other]] += 1
    return kappa_of_table(table, confidence=confidence, weights=weights)


def kappa_of_table(
    table: Sequence[Sequence[int]] | FloatArray, *, confidence: float = 0.95, weights: Weights | None = None
) -> Kappa:
    """Cohen's kappa of a square table of counts, rows for the first person, columns for the second.

    Raises Invalid `table_not_square`, `confidence_out_of_range`; Refused `too_few_ratings` (an empty table)
    and `one_category_only` (both people used a single category, so chance already agrees fully).
    """
    require_confidence(confidence)
    counts = numpy.asarray(table, dtype=numpy.float64)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or numpy.any(counts < 0):
        raise Invalid("table_not_square", "Give a square table of counts, the same categories down and across.")
    n = float(counts.sum())
    if n < 1:
        raise Refused("too_few_ratings", "The table is empty; agreement needs parts that both people judged.")
    p = counts / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    w = _agreement_weights(len(rows), weights)
    observed, expected = float((w * p).sum()), float(rows @ w @ columns)
    if expected >= 1.0 - 1e-12:
        raise Refused("one_category_only", "Everybody gave one and the same verdict, so agreement says nothing.")
    kappa = (observed - expected) / (1.0 - expected)
    lean = (w @ columns)[:, None] + (rows @ w)[None, :]
    spread = float((p * (w - lean * (1.0 - kappa)) ** 2).sum()) - (kappa - expected * (1.0 - kappa)) ** 2
    spread_null = float((numpy.outer(rows, columns) * (w - lean) ** 2).sum()) - expected**2
    errors = [math.sqrt(max(0.0, part) / n) / (1.0 - expected) for part in (spread, spread_null)]
    return _kappa(kappa, errors[0], errors[1], observed, expected, round(n), confidence)


def _agreement_weights(categories: int, weights: Weights | None) -> FloatArray:
    """1 for full agreement down to 0: only equal ones, or less with the distance or its square."""
    if weights is None:
        return numpy.eye(categories)
    away = numpy.abs(numpy.subtract.outer(numpy.arange(categories), numpy.arange(categories)))
    share = away / max(1, categories - 1)
    return numpy.asarray(1.0 - (share if weights == "linear" else share**2), dtype=numpy.float64)


def _kappa(
    kappa: float, error: float, error_null: float, observed: float, expected: float, n: int, confidence: float
) -> Kappa:
    reach = normal_quantile((1.0 + confidence) / 2.0) * error
    z = kappa / error_null if error_null > 0 else math.copysign(math.inf, kappa)
    return Kappa(
        kappa,
        error,
        max(-1.0, kappa - reach),
        min(1.0, kappa + reach),
        error_null,
        z,
        2.0 * normal_above(abs(z)),
        observed,
        expected,
        n,
    )


def fleiss_kappa(counts: Sequence[Sequence[int]] | FloatArray, *, confidence: float = 0.95) -> Kappa:
    """Agreement of several people: `counts[part][category]` is how many gave that verdict, the same number of
    verdicts for every part.

    Raises Invalid `ratings_do_not_match`; Refused `too_few_ratings` (under two parts or two verdicts each),
    `one_category_only`.
    """
    require_confidence(confidence)
    table = numpy.asarray(counts, dtype=numpy.float64)
    if table.ndim != 2 or numpy.any(table < 0) or len(set(table.sum(axis=1).tolist())) > 1:
        raise Invalid("ratings_do_not_match", "Every part needs the same number of verdicts; complete them.")
    n, each = table.shape[0], float(table.sum(axis=1)[0]) if table.size else 0.0
    if n < 2 or each < 2:
        raise Refused("too_few_ratings", "Agreement needs two or more parts with two or more verdicts each.")
    shares = table.sum(axis=0) / (n * each)
    expected = float(shares @ shares)
    if expected >= 1.0 - 1e-12:
        raise Refused("one_category_only", "Everybody gave one and the same verdict, so agreement says nothing.")
    by_part = (table * (table - 1.0)).sum(axis=1) / (each * (each - 1.0))
    observed = float(by_part.mean())
    kappa = (observed - expected) / (1.0 - expected)
    by_chance = (table @ shares) / each
    pulls = (by_part - expected) / (1.0 - expected) - 2.0 * (1.0 - kappa) * (by_chance - expected) / (1.0 - expected)
    error = math.sqrt(float(((pulls - kappa) ** 2).sum()) / (n * (n - 1.0)))
    return _kappa(kappa, error, _fleiss_null(shares, n, each), observed, expected, n, confidence)


def _fleiss_null(shares: FloatArray, n: int, each: float) -> float:
    """Standard error when verdicts fall by chance (Fleiss, Nee and Landis 1979)."""
    apart = shares * (1.0 - shares)
    total = float(apart.sum())
    inner = total**2 - float((apart * (1.0 - 2.0 * shares)).sum())
    return math.sqrt(2.0 * max(0.0, inner)) / (total * math.sqrt(n * each * (each - 1.0)))


@dataclass(frozen=True)
class Appraiser:
    """One person against the known truth. `effectiveness` is the share of parts judged rightly every time,
    with an exact interval; `miss_rate` the share of verdicts on bad parts that let them pass,
    `false_alarm_rate` that of verdicts on good parts that stop them (None where there is no such part)."""

    effectiveness: Interval
    miss_rate: float | None
    false_alarm_rate: float | None
    kappa: Kappa


def appraisers_against_truth(
    verdicts: Mapping[str, Sequence[Sequence[bool]]], truth: Sequence[bool], *, confidence: float = 0.95
) -> dict[str, Appraiser]:
    """Each person's verdicts[person][part] (True for conforms, one per trial) against the true state of the
    parts.

    Raises Invalid `ratings_do_not_match`; Refused as `kappa_of_table`.
    """
    for person, parts in verdicts.items():
        if len(parts) != len(truth) or any(not trials for trials in parts):
            raise Invalid("ratings_do_not_match", f"{person} must judge each of the {len(truth)} parts.")
    return {person: _appraiser(parts, truth, confidence) for person, parts in verdicts.items()}


def _appraiser(parts: Sequence[Sequence[bool]], truth: Sequence[bool], confidence: float) -> Appraiser:
    right = sum(all(v == true for v in trials) for trials, true in zip(parts, truth, strict=True))
    table = [[0, 0], [0, 0]]  # verdict down, truth across; 0 for bad, 1 for good
    for trials, true in zip(parts, truth, strict=True):
        for verdict in trials:
            table[int(verdict)][int(true)] += 1
    missed, alarmed = error_rates(table)
    return Appraiser(
        proportion_interval(right, len(truth), confidence=confidence, method="exact"),
        missed,
        alarmed,
        kappa_of_table(table, confidence=confidence),
    )


def error_rates(table: Sequence[Sequence[int]]) -> tuple[float | None, float | None]:
    """Miss rate and false-alarm rate of a table: verdict (bad, good) down, truth (bad, good) across."""
    bad, good = table[0][0] + table[1][0], table[0][1] + table[1][1]
    return (table[1][0] / bad if bad else None, table[0][1] / good if good else None)
