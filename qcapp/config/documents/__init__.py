"""Documents drawn from the code, so that they stay true: the data model, and how each number is computed."""

from __future__ import annotations

from collections.abc import Callable

from .data_model import data_model
from .numbers import numbers

DRAWN: dict[str, Callable[[], str]] = {"data-model.md": data_model, "numbers.md": numbers}
