"""A unit on its bench for every test of certificates, and the same with everything answered and signed."""

from __future__ import annotations

import pytest

from ..cast import Cast
from ..factories.inspections import Workshop

PEOPLE = ("inspector", "second_inspector", "quality_manager", "second_quality_manager", "engineer", "welder")


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """FR-200-0147 on plan revision D, nothing answered yet; everybody is there before a test undoes something."""
    for name in PEOPLE:
        getattr(cast, name)
    return Workshop.opened(cast)


@pytest.fixture
def ready(workshop: Workshop) -> Workshop:
    """Every stage answered and signed: nothing stands against the release."""
    return workshop.finish()
