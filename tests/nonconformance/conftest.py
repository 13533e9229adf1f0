"""A unit on its bench, and a report about it, for every test of nonconformances."""

from __future__ import annotations

import pytest

from ..cast import Cast
from ..factories.inspections import Workshop
from ..factories.nonconformance import Case

PEOPLE = (
    "inspector", "second_inspector", "welder", "assembler", "quality_manager", "second_quality_manager", "engineer",
    "welding_coordinator", "customer_service",
)  # fmt: skip


@pytest.fixture
def workshop(cast: Cast) -> Workshop:
    """FR-200-0147 on plan revision D, nothing answered yet; everybody is there before a test undoes something."""
    for name in PEOPLE:
        getattr(cast, name)
    return Workshop.opened(cast)


@pytest.fixture
def case(workshop: Workshop) -> Case:
    """Head angle 62.40 ° where 61.85 to 62.15 ° is allowed: critical, raised by itself."""
    return Case.out_of_band(workshop)
