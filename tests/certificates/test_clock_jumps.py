"""The server's clock jumps by a year ahead and back: every record stands, numbers go on, nobody waits for a year."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest

from qcapp.audit.queries import check_chain
from qcapp.audit.services import anchor
from qcapp.certificates.queries import certificates_of, release_state
from qcapp.core.errors import NotAllowed, Throttled
from qcapp.inspections.models import CurrentAnswer, Result
from qcapp.inspections.services.projection import differences
from qcapp.messages.models import Message
from qcapp.messages.services.delivering import deliver_due
from qcapp.nonconformance.models import Report
from qcapp.people.services import identify

from ..cast import FIXED_NOW, PASSWORD, Cast
from ..factories.certificates import certified, release_unit
from ..factories.inspections import Workshop

pytestmark = pytest.mark.django_db
YEAR = timedelta(days=366)
JUMPS = (timedelta(0), YEAR, -timedelta(days=2), timedelta(hours=1), -YEAR, timedelta(hours=2))


def test_keeps_every_entry_and_goes_on_numbering(workshop: Workshop, settings: Any, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path  # with anchors of its own
    units = [workshop.another_unit(f"FR-200-{number:04}") for number in range(301, 301 + len(JUMPS))]
    told = []
    for unit, jump in zip(units, JUMPS, strict=True):
        (answer,) = unit.send(unit.operation("head_angle", "66.00"), at=FIXED_NOW + jump)
        told.append(answer.report)
        anchor(at=FIXED_NOW + jump)
    assert len(set(told)) == len(JUMPS)
    by_year: dict[str, list[int]] = {}
    for number in Report.objects.values_list("number", flat=True):
        _, year, count = number.split("-")
        by_year.setdefault(year, []).append(int(count))
    assert {year: sorted(counts) for year, counts in by_year.items()} == {
        year: list(range(1, len(counts) + 1)) for year, counts in by_year.items()
    }
    assert Result.objects.exclude(purpose="computed").count() == len(JUMPS)
    assert differences() == []
    found = check_chain()
    assert (found.broken, found.anchor_problem) == (None, "")


def test_counts_the_later_correction_whatever_the_clock_said(workshop: Workshop) -> None:
    first = workshop.operation("head_angle", "66.00")
    workshop.send(first, at=FIXED_NOW + YEAR)
    second = workshop.operation("head_angle", "61.94", purpose="correction", base=first["id"], reason="typed wrong")
    workshop.send(second, at=FIXED_NOW)
    assert str(CurrentAnswer.objects.get(conflict=False).result.operation) == second["id"]


def test_releases_and_certifies_after_the_clock_is_put_right(ready: Workshop) -> None:
    workshop = ready.another_unit("FR-200-0390")
    workshop.send(workshop.operation("head_angle"), at=FIXED_NOW + YEAR)
    release_unit(ready)
    certified(ready)
    assert release_state(ready.serial).released
    assert len(certificates_of(ready.item_id)) == 1
    assert check_chain().broken is None


def test_makes_nobody_wait_until_the_day_that_a_wrong_clock_showed(cast: Cast) -> None:
    told = {"badge": cast.inspector.badge, "address": "10.0.0.7"}
    for _ in range(5):
        with pytest.raises(NotAllowed):
            identify(secret="not the password", at=FIXED_NOW + YEAR, **told)
    with pytest.raises(NotAllowed) as heard:
        identify(secret="not this one either", at=FIXED_NOW, **told)
    assert heard.value.code == "identity_not_proven"
    with pytest.raises(Throttled) as waiting:
        identify(secret=PASSWORD, at=FIXED_NOW, **told)
    until = waiting.value.retry_at
    assert until == FIXED_NOW + timedelta(minutes=1)  # six failed, whatever the clock said
    assert identify(secret=PASSWORD, at=until, **told).person == cast.inspector


def test_sends_mail_that_a_wrong_clock_put_off_for_a_year(cast: Cast) -> None:
    cast.engineer.email = "engineer@example.com"
    cast.engineer.save()
    Message.objects.create(
        to=cast.engineer, key="x", kind="reminder", subject="A reminder", text="Look.", at=FIXED_NOW + YEAR,
        mail_due=FIXED_NOW + YEAR,
    )  # fmt: skip
    assert deliver_due(at=FIXED_NOW).sent == 1
