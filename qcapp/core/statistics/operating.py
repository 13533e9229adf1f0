"""What a sampling plan is worth: how often it accepts lots of a given quality, and what follows from that.

`fraction` is the share nonconforming, or imperfections per unit with the Poisson model. Models: `binomial`
(a lot from a process of that quality), `poisson` (imperfections per unit), `hypergeometric` (one lot of
known size with that share in it). MIL-STD-105E computed its tables with the binomial for samples up to 80
and AQLs up to 10 and with the Poisson otherwise; the caller chooses, nothing switches unseen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib import import_module
from typing import Literal, get_args

from qcapp.core.errors import Invalid
from qcapp.core.statistics.distributions import (
    beta_quantile,
    binomial_at_most,
    hypergeometric_at_most,
    poisson_at_most,
    poisson_expected_at,
)
from qcapp.core.statistics.sampling_plan import SamplingPlan

Model = Literal["binomial", "poisson", "hypergeometric"]
LARGEST_DESIGN = 1000


def acceptance_probability(
    plan: SamplingPlan, fraction: float, lot_size: int | None = None, *, model: Model | None = None
) -> float:
    """Probability that the plan accepts a lot of this quality (a reduced plan accepts below its rejection
    number).

    Without `model`: hypergeometric when a lot size is given, Poisson for AQLs above 10, binomial otherwise.
    Raises Invalid `unknown_model`, `fraction_out_of_range`, `lot_size_missing`, `sample_larger_than_lot`,
    `not_a_whole_number` (a lot of 100 cannot hold 3.3 nonconforming pieces).
    """
    chosen = _known(model or _usual_model(plan, lot_size))
    if fraction < 0 or (fraction > 1 and chosen != "poisson"):
        raise Invalid(
            "fraction_out_of_range",
            f"A share of {fraction} nonconforming is not possible; give a fraction between 0 and 1.",
            value=fraction,
        )
    most = plan.reject - 1
    if chosen == "poisson":
        return poisson_at_most(most, plan.sample_size * fraction)
    if chosen == "binomial":
        return binomial_at_most(most, plan.sample_size, fraction)
    return _from_one_lot(most, plan.sample_size, fraction, lot_size)


def _known(model: Model) -> Model:
    if model not in get_args(Model):
        raise Invalid("unknown_model", f"There is no model “{model}”; choose binomial, poisson or hypergeometric.")
    return model


def _usual_model(plan: SamplingPlan, lot_size: int | None) -> Model:
    if lot_size is not None:
        return "hypergeometric"
    return "poisson" if plan.counts_imperfections else "binomial"


def _from_one_lot(most: int, sample_size: int, fraction: float, lot_size: int | None) -> float:
    if lot_size is None:
        raise Invalid("lot_size_missing", "Give the lot size; the hypergeometric count depends on it.")
    if sample_size > lot_size:
        raise Invalid(
            "sample_larger_than_lot",
            f"A lot of {lot_size} does not give a sample of {sample_size}; correct one of them.",
        )
    nonconforming = round(fraction * lot_size)
    if abs(fraction * lot_size - nonconforming) > 1e-6:
        raise Invalid(
            "not_a_whole_number",
            f"A lot of {lot_size} cannot hold {fraction * lot_size:g} nonconforming pieces; "
            f"give {nonconforming / lot_size:g} for {nonconforming} of them.",
        )
    return hypergeometric_at_most(most, lot_size=lot_size, nonconforming=nonconforming, sample_size=sample_size)


def operating_characteristic(
    plan: SamplingPlan, fractions: Iterable[float], lot_size: int | None = None, *, model: Model | None = None
) -> tuple[tuple[float, float], ...]:
    """Pairs of quality and probability of acceptance, for drawing. Raises as `acceptance_probability`."""
    return tuple((x, acceptance_probability(plan, x, lot_size, model=model)) for x in fractions)


def quality_at(plan: SamplingPlan, probability: float, *, model: Literal["binomial", "poisson"] = "binomial") -> float:
    """The quality of a lot that is accepted with this probability (0.10 gives the limiting quality).

    Raises Invalid `probability_out_of_range` unless 0 < probability < 1.
    """
    if not 0.0 < probability < 1.0:
        raise Invalid(
            "probability_out_of_range",
            f"A probability of acceptance of {probability} fixes no quality; give one between 0 and 1.",
        )
    most = plan.reject - 1
    if _by_lots_from_a_process(model) == "poisson":
        return poisson_expected_at(most, probability) / plan.sample_size
    if most >= plan.sample_size:
        raise Invalid("always_accepts", "This plan accepts every lot, so no quality can be named.")
    return beta_quantile(1.0 - probability, most + 1, plan.sample_size - most)


def average_outgoing_quality(
    plan: SamplingPlan,
    fraction: float,
    lot_size: int | None = None,
    *,
    model: Literal["binomial", "poisson"] = "binomial",
) -> float:
    """Average share nonconforming that leaves when lots that are not accepted are sorted through.

    Pa·p·(N - n)/N; without a lot size the last factor is taken as 1, as for very large lots.
    """
    kept = 1.0 if lot_size is None else max(0.0, (lot_size - plan.sample_size) / lot_size)
    return acceptance_probability(plan, fraction, model=model) * fraction * kept


def average_outgoing_quality_limit(
    plan: SamplingPlan,
    lot_size: int | None = None,
    *,
    model: Literal["binomial", "poisson"] = "binomial",
) -> tuple[float, float]:
    """The worst average outgoing quality over all incoming qualities, and the incoming quality it occurs
    at."""

    def leaving_less(fraction: float) -> float:
        return -average_outgoing_quality(plan, fraction, lot_size, model=model)

    worst = quality_at(plan, 1e-6, model=model)
    search = import_module("scipy.optimize").minimize_scalar
    found = search(leaving_less, bounds=(0.0, worst), method="bounded", options={"xatol": 1e-10})
    return float(-found.fun), float(found.x)


def average_total_inspection(
    plan: SamplingPlan,
    fraction: float,
    lot_size: int,
    *,
    model: Literal["binomial", "poisson"] = "binomial",
) -> float:
    """Average number of pieces checked per lot when lots that are not accepted are sorted through:
    n + (1 - Pa)·(N - n)."""
    rest = max(0, lot_size - plan.sample_size)
    return plan.sample_size + (1.0 - acceptance_probability(plan, fraction, model=model)) * rest


def two_point_plan(
    good: float,
    producer_risk: float,
    bad: float,
    consumer_risk: float,
    *,
    model: Literal["binomial", "poisson"] = "binomial",
) -> SamplingPlan:
    """The plan with the smallest acceptance number that keeps both promises.

    Lots of quality `good` are turned away at most with `producer_risk`, lots of quality `bad` accepted at
    most with `consumer_risk`; the sample is the smallest that protects against `bad`. Raises Invalid
    `qualities_not_apart`, `probability_out_of_range`, `no_plan_small_enough`.
    """
    if not 0.0 < good < bad or not 0.0 < producer_risk < 1.0 or not 0.0 < consumer_risk < 1.0:
        raise Invalid(
            "qualities_not_apart",
            "Give a good quality above 0 that is better than the bad one, and risks between 0 and 1.",
        )
    chance = _chance(model)
    for accept in range(LARGEST_DESIGN):
        size = _smallest_protecting(accept, bad, consumer_risk, chance)
        if chance(accept, size, good) >= 1.0 - producer_risk:
            return SamplingPlan(None, size, accept, accept + 1, source=f"two-point design, {model}")
    raise Invalid(
        "no_plan_small_enough",
        f"The two qualities are so close that more than {LARGEST_DESIGN} nonconforming pieces would have "
        "to be allowed; move them apart or check every piece.",
    )


def _by_lots_from_a_process(model: Model) -> Model:
    """One lot of known size has no smooth curve to look a quality up on, so only the other two models do."""
    if _known(model) == "hypergeometric":
        raise Invalid("unknown_model", "Choose the binomial or the poisson model for this question.")
    return model


def _chance(model: Model) -> Callable[[int, int, float], float]:
    if _by_lots_from_a_process(model) == "poisson":
        return lambda most, size, fraction: poisson_at_most(most, size * fraction)
    return binomial_at_most


def _smallest_protecting(accept: int, bad: float, risk: float, chance: Callable[[int, int, float], float]) -> int:
    low, high = accept + 1, accept + 2
    while chance(accept, high, bad) > risk:
        low, high = high, high * 2
    while low < high:
        middle = (low + high) // 2
        if chance(accept, middle, bad) > risk:
            low = middle + 1
        else:
            high = middle
    return low
