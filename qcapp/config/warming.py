"""What a server does before its first request: a worker that still reads its code lets thirty tablets wait for it."""

from __future__ import annotations

import gc
from collections.abc import Iterable
from decimal import Decimal
from typing import Any

from django.urls import get_resolver

from qcapp.core.metrology.quantities import convert


def warm_up() -> None:
    """Read every view and the units of measure now, and take what is there for good out of the collector's rounds.

    The views bring the statistics and drawing libraries with them, three seconds of one core. Read in the server's
    first process (gunicorn `--preload`), they are read once and shared by the workers.
    """
    _read(get_resolver().url_patterns)
    convert(Decimal(1), "in", "mm")  # the first conversion loads the registry of units
    gc.collect()
    gc.freeze()


def _read(patterns: Iterable[Any]) -> None:
    for one in patterns:
        if hasattr(one, "url_patterns"):
            _read(one.url_patterns)
        else:
            _ = one.callback
