"""Documents drawn from the code and from what was measured, so that they stay true."""

from __future__ import annotations

from collections.abc import Callable

from .data_model import data_model
from .growth import growth
from .measured import deploy, measured
from .numbers import numbers

DRAWN: dict[str, Callable[[], str]] = {
    "data-model.md": data_model, "numbers.md": numbers, "measured.md": measured, "growth.svg": growth,
    "deploy.md": deploy,
}  # fmt: skip
