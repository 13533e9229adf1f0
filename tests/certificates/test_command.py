"""`manage.py certificate SERIAL --output FILE.pdf`."""

from __future__ import annotations

from datetime import timedelta
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from qcapp.certificates.models import Certificate
from qcapp.certificates.services import rendering

from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop
from .test_issuing import take_issue_back
from .test_releasing import take_back

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _layout(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Path, fixed_now: Any) -> None:
    """A stand-in for the layout, and the clock of the cast."""
    settings.QCAPP_DATA_DIR = tmp_path / "data"
    monkeypatch.setattr(rendering, "render", lambda card, at, look=None: f"%PDF {card.number}/{card.issue}".encode())
    monkeypatch.setattr("django.utils.timezone.now", lambda: fixed_now + timedelta(hours=8))  # after the release


def run(tmp_path: Path, *options: str, serial: str = "FR-200-0147") -> tuple[str, bytes]:
    """What the command says, and what it wrote."""
    said, noted, file = StringIO(), StringIO(), tmp_path / "out.pdf"
    call_command("certificate", serial, "--output", str(file), *options, stdout=said, stderr=noted)
    return said.getvalue() + noted.getvalue(), file.read_bytes()


def test_writes_the_current_issue(ready: Workshop, tmp_path: Path) -> None:
    release_unit(ready)
    certified(ready)
    certified(ready, change_note="Order number corrected.")
    said, written = run(tmp_path)
    assert written == b"%PDF FR-2026-0001/2"
    assert said.startswith("FR-2026-0001 issue 2 of FR-200-0147 is in ")
    assert Certificate.objects.count() == 2


def test_issues_nothing_by_itself(ready: Workshop, tmp_path: Path) -> None:
    release_unit(ready)
    with pytest.raises(CommandError, match="Name who issues it: --by BADGE"):
        run(tmp_path)
    assert not Certificate.objects.exists()
    assert not (tmp_path / "out.pdf").exists()


def test_issues_the_first_one_for_who_may(ready: Workshop, tmp_path: Path) -> None:
    release_unit(ready)
    _, written = run(tmp_path, "--by", ready.cast.quality_manager.badge)
    assert written == b"%PDF FR-2026-0001/1"
    run(tmp_path, "--by", ready.cast.quality_manager.badge)
    assert Certificate.objects.get().issued_by == ready.cast.quality_manager


@pytest.mark.parametrize(("badge", "code"), [("1001", "not_permitted"), ("9999", "badge_unknown")])
def test_refuses_to_issue_for_who_may_not(ready: Workshop, tmp_path: Path, badge: str, code: str) -> None:
    release_unit(ready)
    with pytest.raises(CommandError, match=code):
        run(tmp_path, "--by", badge)
    assert not Certificate.objects.exists()


def test_refuses_what_is_not_released_or_not_known(ready: Workshop, tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="not_released"):
        run(tmp_path, "--by", ready.cast.quality_manager.badge)
    with pytest.raises(CommandError, match="serial_unknown"):
        run(tmp_path, serial="FR-200-9999")


def test_refuses_a_withdrawn_issue_and_notes_one_under_review(ready: Workshop, tmp_path: Path) -> None:
    card = certified(release_unit(ready))
    take_back(ready)
    assert "Note: FR-2026-0001 issue 1 is under review." in run(tmp_path)[0]
    take_issue_back(ready, card)
    with pytest.raises(CommandError, match="was withdrawn: Wrong order number"):
        run(tmp_path)


def test_says_so_when_the_file_cannot_be_written(ready: Workshop, tmp_path: Path) -> None:
    certified(release_unit(ready))
    with pytest.raises(CommandError, match="cannot be written: No such file or directory"):
        call_command("certificate", "FR-200-0147", "--output", str(tmp_path / "missing" / "out.pdf"))
