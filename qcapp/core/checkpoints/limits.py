"""The limits of measured and derived checkpoints: how they are given, kept, described, and met by values."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import cast

from qcapp.core.checkpoints import fields
from qcapp.core.checkpoints.assessment import Assessment, Outcome
from qcapp.core.errors import Invalid
from qcapp.core.metrology.bands import Band, read_notation
from qcapp.core.metrology.decision import Judgement, Rule, Verdict, judge
from qcapp.core.metrology.notations import Side
from qcapp.core.metrology.quantities import as_text

KEYS = {
    "nominal", "notation", "lower", "upper", "guard", "natural", "allow_outside_nominal", "source",
    "notes", "material_condition", "unit_of_measure", "decimals", "rule", "reference",
}  # fmt: skip
MAX_DECIMALS = 9
MAX_LIMIT_DIGITS = 40  # limits converted from another unit of measure have more digits than a gauge

_FIELD_OF_CODE = {
    "limits_missing": "lower",
    "limits_crossed": "lower",
    "limit_not_decimal": "lower",
    "guard_negative": "guard",
    "guard_swallows_band": "guard",
    "nominal_outside": "nominal",
    "natural_unknown": "natural",
}
_SEVERITY = {Verdict.IN_BAND: 0, Verdict.NEAR_LIMIT: 1, Verdict.OUT_OF_BAND: 2}


@dataclass(frozen=True)
class Limits:
    """A band in its unit of measure, with the notation it was read from and the source of that reading.

    `band` is None for a value recorded for reference. `notes` stand beside the limits wherever they are
    shown; `material_condition` is "maximum" where the tolerance grows with the feature's size, which the
    verdict does not credit. `rule` None leaves the decision rule to what is known: guarded with the gauge's
    uncertainty, simple without it; "simple" holds even then.
    """

    band: Band | None
    unit_of_measure: str
    decimals: int
    notation: str | None = None
    source: str | None = None
    notes: tuple[str, ...] = ()
    material_condition: str | None = None
    rule: Rule | None = None

    def to_json(self) -> dict[str, object]:
        """Every key of `KEYS`, absent ones as None, numbers as text."""
        band = self.band.to_json() if self.band else dict.fromkeys(("lower", "upper", "nominal", "guard"))
        return {
            "natural": [],
            "allow_outside_nominal": False,
            **band,
            "notation": self.notation,
            "source": self.source,
            "notes": list(self.notes),
            "material_condition": self.material_condition,
            "unit_of_measure": self.unit_of_measure,
            "decimals": self.decimals,
            "rule": self.rule,
            "reference": self.band is None,
        }


# ------------------------------------------------------------------------------------------------- reading


def read_limits(data: Mapping[str, object]) -> Limits:
    """The limits in `data`, from a notation, from lower and upper, or from what `to_json` wrote.

    Limits beside a notation must agree with it (`limits_disagree`), unless `source` says that they were read
    from it before: a frozen plan keeps its limits whatever later tables say. So a form that changes a
    notation sends it without the old limits. `reference: true` asks for no limits. Without `decimals` it is
    as many as the limits are written with. Raises Invalid naming the field.
    """
    reference = fields.flag(data, "reference") or False
    limits = Limits(None, _read_unit(data), 0, rule=_read_rule(data))
    if reference:
        _refuse_limits(data)
    else:
        limits = _with_band(limits, data)
    decimals = fields.whole(data, "decimals", lowest=0, highest=MAX_DECIMALS)
    return replace(limits, decimals=_decimals_of(limits.band) if decimals is None else decimals)


def _read_unit(data: Mapping[str, object]) -> str:
    unit_of_measure = fields.text(data, "unit_of_measure", longest=20)
    if unit_of_measure is None and data.get("unit_of_measure") != "":
        fields.needed(None, "unit_of_measure", 'give mm, ° or N·m, or "" for a plain number')
    return unit_of_measure or ""


def _refuse_limits(data: Mapping[str, object]) -> None:
    for key in ("notation", "lower", "upper", "nominal"):
        if data.get(key) not in (None, ""):
            message = f"A value for reference has no limits; leave “{key}” out or take reference away."
            raise Invalid("reference_with_limits", message, field=key)


def _with_band(limits: Limits, data: Mapping[str, object]) -> Limits:
    notation, source = fields.text(data, "notation", longest=60), fields.text(data, "source")
    given = any(data.get(side) not in (None, "") for side in ("lower", "upper"))
    if notation and not (given and source):
        return _from_notation(limits, notation, data)
    return replace(
        limits,
        band=_band(data, limits.unit_of_measure),
        notation=notation,
        source=source,
        notes=tuple(fields.words(data, "notes")),
        material_condition=fields.text(data, "material_condition", longest=20),
    )


def _from_notation(limits: Limits, notation: str, data: Mapping[str, object]) -> Limits:
    nominal = _limit(data, "nominal", limits.unit_of_measure)
    with fields.naming("notation"):
        read = read_notation(nominal, notation, limits.unit_of_measure)
    for side, computed in (("lower", read.band.lower), ("upper", read.band.upper)):
        given = _limit(data, side, limits.unit_of_measure)
        if given is not None and given != computed:
            raise Invalid("limits_disagree", _disagreement(notation, read.band), field=side)
    return replace(
        limits,
        band=_band(data, limits.unit_of_measure, read.band),
        notation=notation,
        source=read.source,
        notes=read.notes,
        material_condition=read.material_condition,
    )


def _limit(data: Mapping[str, object], key: str, unit_of_measure: str) -> Decimal | None:
    return fields.number(data, key, unit_of_measure=unit_of_measure, max_digits=MAX_LIMIT_DIGITS)


def _band(data: Mapping[str, object], unit_of_measure: str, read: Band | None = None) -> Band:
    """The band of the fields; limits and nominal come from `read` if a notation gave them."""
    lower, upper, nominal, guard = (
        _limit(data, key, unit_of_measure) for key in ("lower", "upper", "nominal", "guard")
    )
    natural = frozenset(cast("list[Side]", fields.words(data, "natural")))
    outside = fields.flag(data, "allow_outside_nominal") or False
    if read:
        lower, upper, nominal = read.lower, read.upper, read.nominal
        natural, outside = natural | read.natural, outside or read.allow_outside_nominal
    try:
        return Band(lower, upper, nominal, guard or Decimal(0), natural, outside)
    except Invalid as refusal:
        refusal.details.setdefault("field", _FIELD_OF_CODE.get(refusal.code, "lower"))
        raise


def _disagreement(notation: str, band: Band) -> str:
    lower, upper = (None if limit is None else as_text(limit) for limit in (band.lower, band.upper))
    limits = " to ".join(limit for limit in (lower, upper) if limit is not None)
    return f"“{notation}” gives {limits}, other limits are written beside it; leave one of them out."


def _read_rule(data: Mapping[str, object]) -> Rule | None:
    rule = fields.text(data, "rule")
    if rule not in (None, "simple", "guarded"):
        raise Invalid("rule_unknown", "The decision rule is “simple” or “guarded”.", field="rule")
    return cast("Rule | None", rule)


def _decimals_of(band: Band | None) -> int:
    numbers = [n for n in (band.lower, band.upper, band.nominal) if n is not None] if band else []
    if not numbers:
        fields.needed(None, "decimals", "give the number of decimals to record")
    return min(MAX_DECIMALS, max(map(places, numbers)))


def places(value: Decimal) -> int:
    """How many decimals the number is written with."""
    return max(0, -int(value.as_tuple().exponent))


# --------------------------------------------------------------------------------------------------- words


def written(value: Decimal, decimals: int) -> str:
    """The number with at least `decimals` decimals; more only where they are not zero."""
    whole, _, tail = as_text(value).partition(".")
    tail = tail.rstrip("0").ljust(decimals, "0")
    return f"{whole}.{tail}" if tail else whole


def with_unit(number: str, limits: Limits) -> str:
    """The number with its unit of measure behind it."""
    return f"{number} {limits.unit_of_measure}".rstrip()


def describe(limits: Limits) -> str:
    """`61.85 to 62.15 °`, `max 0.30 mm`, `min 2.0 mm`; a natural boundary is not named."""
    band = limits.band
    if band is None:
        return "for reference, no limits"
    lower = None if band.lower is None else written(band.lower, limits.decimals)
    upper = None if band.upper is None else written(band.upper, limits.decimals)
    if upper is None or (lower is not None and "upper" in band.natural and "lower" not in band.natural):
        return with_unit(f"min {lower}", limits)
    if lower is None or "lower" in band.natural:
        return with_unit(f"max {upper}", limits)
    return with_unit(f"{lower} to {upper}", limits)


# ------------------------------------------------------------------------------------------------- meeting


def assess_values(values: Sequence[Decimal], limits: Limits, expanded_uncertainty: Decimal | None) -> Assessment:
    """The assessment of the worst value: every reading counts."""
    band = limits.band
    if band is None:
        return Assessment(Outcome.RECORDED, plot=float(values[-1]))
    rule: Rule = "simple"
    if expanded_uncertainty is not None and limits.rule != "simple":
        rule, expanded_uncertainty = "guarded", _wider(expanded_uncertainty, band.guard)
    judged = [(judge(v, band, expanded_uncertainty=expanded_uncertainty, rule=rule), v) for v in values]
    worst, value = max(judged, key=lambda pair: _badness(pair[0], pair[1], band))
    return Assessment(Outcome(worst.verdict), worst.deviation, worst.excess, worst.nearest_limit, float(value), rule)


def _wider(expanded_uncertainty: Decimal, guard: Decimal) -> Decimal:
    # A guard zone that the plan states stays under a better gauge; a faulty uncertainty is left to judge.
    return guard if 0 <= expanded_uncertainty < guard else expanded_uncertainty


def _badness(judgement: Judgement, value: Decimal, band: Band) -> tuple[int, Decimal, Decimal]:
    """Order by verdict, then by how far outside, then by how little is left to the nearest limit."""
    limit = {"lower": band.lower, "upper": band.upper, None: None}[judgement.nearest_limit]
    left = Decimal("Infinity") if limit is None else abs(limit - value)
    return _SEVERITY[judgement.verdict], judgement.excess, -left
