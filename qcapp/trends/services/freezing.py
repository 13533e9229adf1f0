"""Freezing control limits over a chosen base period, as a signed act."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.core.sealing import canonical, digest
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import Proof, require, write_signature

from ..characteristic import Wanted
from ..control import Chart, chart_key, control_chart, part_of
from ..models import BasePeriod
from ..queries import LONGEST, series_of
from ..sampling import Sampled, most_samples

if TYPE_CHECKING:
    from ..readings import Series

FEWEST_TO_FREEZE = 20  # points; limits from fewer move too much from one base to the next (common practice, no source)


def freeze_limits(
    *,
    proof: Proof,
    family_code: str,
    key: str,
    first_serial: str,
    last_serial: str,
    reason: str,
    at: datetime,
    wanted: Wanted | None = None,
) -> BasePeriod:
    """Freeze the control limits of the points from one unit to another; they hold until others are signed.

    `wanted` says which kind of chart; points that were left out do not count. Raises NotFound as `series_of`, Invalid
    `base_not_found`, `base_too_short`, Refused `no_chart`, NotAllowed.
    """
    require(proof.person, Act.FREEZE_LIMITS, at)
    said = plain_text("The reason", reason, longest=300).rstrip(".")
    how = wanted or Wanted()
    with transaction.atomic():
        series = series_of(family_code, key, last=LONGEST, sampled=Sampled(most_samples(how.size), how.group, how.size))
        chart, first, last = _base_chart(series, first_serial, last_serial, how)
        values = _frozen(series, chart, how)
        subject = f"characteristic {series.family_code} {series.key}"
        payload = values | {"first_serial": first, "last_serial": last, "reason": said}
        signature = write_signature(
            proof=proof,
            act=Act.FREEZE_LIMITS,
            meaning=f"These control limits of {series.title} hold until others are signed.",
            subject=subject,
            covers=digest(canonical({name: str(value) for name, value in payload.items()})),
            at=at,
        )
        row = BasePeriod.objects.create(
            characteristic_id=series.characteristic_id, first_serial=first, last_serial=last, reason=said,
            signature=signature, at=at, **values,
        )  # fmt: skip
        record(
            verb=Verb.TREND_LIMITS_FROZEN,
            actor=proof.person.uuid,
            subject=subject,
            at=at,
            payload={name: str(value) for name, value in payload.items()} | {"signature": str(signature.uuid)},
        )
    return row


def _base_chart(series: Series, first: str, last: str, how: Wanted) -> tuple[Chart, str, str]:
    """The chart of the chosen units alone, and their serials as they are written."""
    serials = [reading.serial for reading in series.readings]
    places = [_place(serials, serial) for serial in (first, last)]
    start, end = min(places), max(places)
    chart = control_chart(part_of(series, start, end), limits=how.limits, group=how.group, size=how.size)
    if len(chart.samples) < FEWEST_TO_FREEZE:
        message = (
            f"From {serials[start]} to {serials[end]} there are {len(chart.samples)} points; control limits are frozen "
            f"over at least {FEWEST_TO_FREEZE}. Choose a longer base period."
        )
        raise Invalid("base_too_short", message, points=len(chart.samples))
    if chart.computed is None:
        raise Refused("no_chart", f"No control limits can be computed from these points. {chart.refusal}")
    return chart, serials[start], serials[end]


def _place(serials: list[str], serial: str) -> int:
    wanted = serial.strip().casefold()
    found = next((place for place, one in enumerate(serials) if one.casefold() == wanted), None)
    if found is None:
        message = f"{serial.strip()[:40] or 'The unit'} is not among the last {len(serials)} values; choose another."
        raise Invalid("base_not_found", message)
    return found


def _frozen(series: Series, chart: Chart, how: Wanted) -> dict[str, object]:
    computed = chart.computed
    assert computed is not None  # noqa: S101 - _base_chart refuses otherwise
    return {
        "chart": chart_key(series, limits=how.limits, group=how.group, size=how.size),
        "unit_of_measure": series.unit_of_measure,
        "center": float(computed.at(computed.center)[0]),
        "sigma": computed.process_sigma,
        "points": len(chart.samples),
    }
