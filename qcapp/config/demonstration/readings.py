"""Believable invented readings: each characteristic has its own mean and spread, and one fixture drifts slowly.

Drawn from a seeded generator, so that the demonstration is the same every time. Nothing here is real data.
"""

from __future__ import annotations

import random
from datetime import date, timedelta
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from qcapp.core.metrology.quantities import round_value

if TYPE_CHECKING:
    from qcapp.plans.queries import CheckpointCard

DRIFTING = {
    "head_angle": 0.0045,
    "axle_parallel": 0.004,
}  # per frame on the second fixture, in the checkpoint's unit
FIXTURE = ("TF-01", "TF-02")


class Bench:
    """Readings for one unit. `number` is its running number, `day` the day of the work."""

    def __init__(self, serial: str, number: int, first_number: int, seed: int) -> None:
        self.serial = serial
        self.number = number
        self.age = number - first_number
        self.random = random.Random(f"{seed} {serial}")  # noqa: S311 - invented readings
        self.given: dict[str, float] = {}

    @property
    def fixture(self) -> str:
        return FIXTURE[self.number % 2]

    def answer(self, card: CheckpointCard, day: date, uncertainty: Decimal | None) -> dict[str, Any]:
        """An answer that conforms and is clear of the limits."""
        if card.kind == "attribute":
            return {"conforms": True}
        if card.kind == "count":
            return {"count": self._count(card)}
        if card.kind == "record":
            return {"text": self._text(card, day)}
        readings = int(card.spec_json.get("readings") or 1)
        values = [self._value(card, float(uncertainty or 0)) for _ in range(readings)]
        return ({"value": values[0]} if readings == 1 else {"values": values}) | self._warmth(card)

    def _warmth(self, card: CheckpointCard) -> dict[str, str]:
        """How warm the part was, where the plan asks: a little above the hall after welding."""
        if not card.temperature_text:
            return {}
        own = random.Random(f"{self.serial} {card.key}")  # noqa: S311 - apart, so that no other reading changes
        return {"temperature": f"{own.uniform(19, 23) + (6 if card.paired_with else 0):.1f}"}

    def _count(self, card: CheckpointCard) -> int:
        band = card.spec.band
        if band.lower is not None and band.lower > 0:
            upper = int(band.upper) if band.upper is not None else int(band.lower) + 1
            return self.random.randint(int(band.lower), upper)
        return self.random.choice([0, 0, 0, min(1, int(band.upper or 0))])

    def _value(self, card: CheckpointCard, uncertainty: float) -> str:
        band = card.spec.band
        decimals = int(card.spec_json.get("decimals") or 0)
        lower = None if band.lower is None else float(band.lower)
        upper = None if band.upper is None else float(band.upper)
        value = self._paired(card.key) or self._drawn(card.key, lower, upper, bool(band.natural))
        margin = 1.2 * uncertainty + 0.51 * 10**-decimals
        if lower is not None and not band.natural:
            value = max(value, min(lower + margin, _middle(lower, upper)))
        if upper is not None:
            value = min(value, max(upper - margin, _middle(lower, upper)))
        self.given[card.key] = value
        return str(round_value(Decimal(repr(value)), Decimal(1).scaleb(-decimals)))

    def _paired(self, key: str) -> float | None:
        """A value that hangs on another one: pressure at the end of a leak test."""
        if key.endswith("leak_end") and (start := self.given.get(key.replace("_end", "_start"))) is not None:
            return start - abs(self.random.gauss(0.04, 0.02))
        return None

    def _drawn(self, key: str, lower: float | None, upper: float | None, natural: bool) -> float:
        own = random.Random(key)  # noqa: S311 - the characteristic's own mean and spread, the same for every unit
        drift = DRIFTING.get(key, 0.0) * self.age if self.number % 2 else 0.0
        if upper is None and lower is not None:
            return lower * (1.08 + 0.14 * own.random()) + abs(self.random.gauss(0, abs(lower) * 0.04))
        if upper is not None and (lower is None or natural):
            return upper * (0.3 + 0.2 * own.random()) + abs(self.random.gauss(0, upper * 0.08)) + drift
        if lower is None or upper is None:
            return 0.0
        width = upper - lower
        mean = (lower + upper) / 2 + (own.random() - 0.5) * 0.12 * width
        return self.random.gauss(mean, width / (10 + 4 * own.random())) + drift

    def _text(self, card: CheckpointCard, day: date) -> str:
        form = card.spec_json.get("form")
        if card.spec_json.get("pattern"):
            return self.serial
        if form == "date":
            return (day - timedelta(days=self.random.randint(1, 40))).isoformat()
        if form == "heat":
            return self.random.choice(["7K4412", "7K4418", "7L0031", "7M2207"])
        known = {
            "fixture": self.fixture,
            "kit_lot": f"TK-200/{110 + self.age // 3}",
            "filler_lot": f"FL-{880 + self.age // 6}",
        }
        if card.key in known:
            return known[card.key]
        if form == "serial":
            prefix = {
                "head_serial": "SH-8",
                "fork_serial": "FK-30",
                "carrier_serial": "AX-200",
                "fuel_tank_serial": "FT-14",
            }
            return f"{prefix.get(card.key, 'HT-6')}-{90 + self.age:04}"
        return f"sheet {self.number}"


def _middle(lower: float | None, upper: float | None) -> float:
    if lower is None or upper is None:
        return float(upper if lower is None else lower)  # type: ignore[arg-type]
    return (lower + upper) / 2
