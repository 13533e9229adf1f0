"""A workshop in which the same thing went wrong three times."""

from __future__ import annotations

from datetime import timedelta

import pytest

from ..cast import FIXED_NOW, Cast
from ..factories.improvement import Led, frame, set_up
from ..factories.inspections import Workshop


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """FR-200-0147 on its bench, the settings made."""
    shop = Workshop.opened(cast)
    set_up(cast)
    return shop


@pytest.fixture
def thrice(workshop: Workshop) -> Workshop:
    """Three frames whose head angle was out of band on three days."""
    for place, value in enumerate(("62.40", "62.38", "62.45")):
        frame(workshop, 10 + place, value, FIXED_NOW - timedelta(days=5 - place))
    return workshop


@pytest.fixture
def led(thrice: Workshop) -> Led:
    """A corrective action for them."""
    return Led.opened(thrice)
