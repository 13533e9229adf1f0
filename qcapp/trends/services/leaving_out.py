"""Leaving a point out of charts with a reason, and putting it back. The result itself stands."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.lib.plain_text import plain_text
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import PointExclusion
from ..queries import LONGEST, series_of
from ..sampling import WIDEST

if TYPE_CHECKING:
    from qcapp.people.models import Person

    from ..readings import Reading, Series


def leave_point_out(
    *, by: Person, family_code: str, key: str, serial: str, reason: str, at: datetime
) -> PointExclusion:
    """Leave a unit's value out of charts, limits, capability and drift; it is listed beside them with the reason.

    Raises NotFound as `series_of`, Invalid `point_not_found`, Refused `point_left_out`, NotAllowed.
    """
    require(by, Act.FREEZE_LIMITS, at)
    said = plain_text("The reason", reason, longest=300).rstrip(".")
    with transaction.atomic():
        series = series_of(family_code, key, last=LONGEST, sampled=WIDEST)
        if any(_same(one.reading.serial, serial) for one in series.excluded):
            raise Refused("point_left_out", f"{serial.strip()} is left out already; nothing was changed.")
        reading = _find(series.readings, serial)
        return _write(by, series, reading, True, said, at)


def put_point_back(*, by: Person, family_code: str, key: str, serial: str, reason: str, at: datetime) -> PointExclusion:
    """Take a unit's value into charts again. Raises NotFound as `series_of`, Invalid `point_not_found`, NotAllowed."""
    require(by, Act.FREEZE_LIMITS, at)
    said = plain_text("The reason", reason, longest=300).rstrip(".")
    with transaction.atomic():
        series = series_of(family_code, key, last=LONGEST, sampled=WIDEST)
        reading = _find([one.reading for one in series.excluded], serial)
        return _write(by, series, reading, False, said, at)


def _same(serial: str, typed: str) -> bool:
    return serial.casefold() == typed.strip().casefold()


def _find(readings: Iterable[Reading], serial: str) -> Reading:
    found: Reading | None = next((one for one in readings if _same(one.serial, serial)), None)
    if found is None:
        raise Invalid("point_not_found", f"{serial.strip()[:40] or 'The unit'} is not among these values; choose one.")
    return found


def _write(by: Person, series: Series, reading: Reading, out: bool, reason: str, at: datetime) -> PointExclusion:
    row = PointExclusion.objects.create(
        characteristic_id=series.characteristic_id, result_id=reading.result_id, serial=reading.serial,
        left_out=out, reason=reason, by=by, at=at,
    )  # fmt: skip
    record(
        verb=Verb.TREND_POINT_LEFT_OUT if out else Verb.TREND_POINT_PUT_BACK,
        actor=by.uuid,
        subject=f"characteristic {series.family_code} {series.key}",
        at=at,
        payload={"serial": reading.serial, "value": reading.text, "reason": reason},
    )
    return row
