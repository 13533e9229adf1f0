"""A unit on its bench for every test of histories."""

from __future__ import annotations

import pytest

from ..cast import Cast
from ..factories.inspections import Workshop


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """FR-200-0147 on plan revision D, nothing answered yet."""
    return Workshop.opened(cast)
