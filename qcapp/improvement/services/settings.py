"""Setting the rate, the threshold and the number of units."""

from __future__ import annotations

import re
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from django.db import transaction

from qcapp.audit import services as audit
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid
from qcapp.people.roles import Act
from qcapp.people.services import require

from ..models import Setting

if TYPE_CHECKING:
    from qcapp.people.models import Person

MOST_RATE = Decimal(10_000)
CURRENCY = re.compile(r"[A-Z]{3}")
# Name, least and most of each whole number.
BOUNDS = {"similar_count": (2, 100), "similar_days": (1, 366), "units_wanted": (2, 2000)}


@transaction.atomic
def set_improvement(
    *,
    by: Person,
    rate_per_hour: Decimal,
    currency: str,
    similar_count: int,
    similar_days: int,
    units_wanted: int,
    at: datetime,
) -> None:
    """What holds from now on; what was recorded before keeps its rate.

    Raises NotAllowed, Invalid `rate_out_of_range`, `currency_form`, `number_out_of_range`.
    """
    require(by, Act.SET_IMPROVEMENT, at)
    if not (rate_per_hour.is_finite() and 0 <= rate_per_hour <= MOST_RATE):
        raise Invalid("rate_out_of_range", f"A rate lies between 0 and {MOST_RATE} an hour; correct it.")
    if not CURRENCY.fullmatch(currency):
        raise Invalid("currency_form", "A currency is three capitals, such as EUR (ISO 4217).")
    numbers = {"similar_count": similar_count, "similar_days": similar_days, "units_wanted": units_wanted}
    for name, number in numbers.items():
        least, most = BOUNDS[name]
        if not least <= number <= most:
            words = name.replace("_", " ")
            raise Invalid("number_out_of_range", f"The {words} lies between {least} and {most}; correct it.")
    Setting.objects.create(rate_per_hour=rate_per_hour, currency=currency, by=by, at=at, **numbers)
    payload = numbers | {"rate_per_hour": format(rate_per_hour, "f"), "currency": currency}
    audit.record(verb=Verb.IMPROVEMENT_SET, actor=by.uuid, subject="improvement", at=at, payload=payload)
