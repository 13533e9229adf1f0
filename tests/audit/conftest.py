"""A data folder of the test's own, so that no test reads another's anchors, and a short chain."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from uuid import UUID

import pytest
from django.db import transaction
from pytest_django import Settings

from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from tests.cast import FIXED_NOW

ACTOR = UUID("0190a5c4-0000-7000-8000-000000000001")


@pytest.fixture(autouse=True)
def data_folder(settings: Settings, tmp_path: Path) -> Path:
    """Where this test's anchors go."""
    settings.QCAPP_DATA_DIR = tmp_path
    return tmp_path


@pytest.fixture
def write_acts() -> Callable[[int], list[int]]:
    """`write_acts(3)` records three acts and gives their numbers."""
    return acts


def acts(count: int) -> list[int]:
    """The numbers of so many new acts, each in a transaction of its own."""
    numbers = []
    for place in range(count):
        with transaction.atomic():
            numbers.append(
                record(
                    verb=Verb.UNIT_OPENED,
                    actor=ACTOR,
                    subject=f"unit FR-200-{place:04}",
                    at=FIXED_NOW,
                    payload={"family": "FR-200", "place": place},
                )
            )
    return numbers
