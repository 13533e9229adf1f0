"""Documents drawn from the code and from what was measured, so that they stay true."""

from __future__ import annotations

from collections.abc import Callable

from .data_model import data_model
from .dependencies import dependencies
from .growth import growth
from .measured import all_measured, deploy
from .numbers import numbers

DRAWN: dict[str, Callable[[], str]] = {
    "data-model.md": data_model, "numbers.md": numbers, "measured.md": all_measured, "growth.svg": growth,
    "deploy.md": deploy, "dependencies.md": dependencies,
}  # fmt: skip
