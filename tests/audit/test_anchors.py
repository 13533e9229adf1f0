"""What the anchors outside the database show that the chain alone cannot."""

from __future__ import annotations

import hashlib
import hmac
import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any
from uuid import uuid4

import pytest
from django.core.management import call_command
from django.db import transaction
from django.db.models import QuerySet
from pytest_django import Settings

from qcapp.audit import anchors
from qcapp.audit.models import ChainHead, Entry, Payload
from qcapp.audit.queries import check_chain, last_anchor
from qcapp.audit.services import anchor, anchor_on_commit
from qcapp.core.sealing import START, chain
from tests.cast import FIXED_NOW

from .conftest import acts
from .test_chain import behind_the_guards, entry, remove

pytestmark = pytest.mark.django_db
Count = Callable[[int], list[int]]


def lines() -> list[str]:
    return anchors.anchor_file().read_text().splitlines()


def cut(number: int) -> None:
    """Take the last entry away and move the head back, so that the chain alone holds."""
    before = entry(number - 1)
    remove(number)
    ChainHead.objects.update(number=number - 1, digest=before.digest)


def rewritten() -> None:
    """The whole chain once more, with another subject in its first entry and every digest made to fit."""
    previous = START
    with behind_the_guards():
        for row in list(Entry.objects.order_by("number")):
            subject = "unit FR-200-9999" if row.number == 1 else row.subject
            header = row.header.replace(row.subject, subject)
            seal = chain(previous, row.number, header)
            changed = {"subject": subject, "header": header, "previous_digest": previous, "digest": seal}
            QuerySet(Entry).filter(pk=row.pk).update(**changed)
            previous = seal
    ChainHead.objects.update(digest=previous)


def test_writes_the_head_under_a_key(write_acts: Count, settings: Settings) -> None:
    """The seal recomputed with the standard library: HMAC-SHA-256 (RFC 2104)."""
    write_acts(2)
    assert anchor(at=FIXED_NOW)
    head = ChainHead.objects.get()
    (line,) = map(json.loads, lines())
    seal = line.pop("seal")
    assert line == {
        "at": "2026-03-17T09:30:00.000000+00:00",
        "digest": head.digest,
        "epoch": str(head.epoch),
        "number": 2,
        "previous": "",
    }
    text = json.dumps([line[name] for name in sorted(line)], separators=(",", ":"))
    assert seal == hmac.new(settings.QCAPP_ANCHOR_KEY, text.encode(), hashlib.sha256).hexdigest()


def test_writes_nothing_before_the_first_act_and_no_head_twice(write_acts: Count) -> None:
    assert not anchor(at=FIXED_NOW)
    assert not anchors.anchor_file().exists()
    write_acts(1)
    assert anchor(at=FIXED_NOW)
    assert not anchor(at=FIXED_NOW)
    write_acts(1)
    assert anchor(at=FIXED_NOW)
    assert len(lines()) == 2
    assert check_chain().anchors_checked == 2


def test_waits_until_the_disk_has_the_line(write_acts: Count, monkeypatch: pytest.MonkeyPatch) -> None:
    write_acts(1)
    sizes: list[int] = []
    fsync = os.fsync

    def noted(descriptor: int) -> None:
        sizes.append(os.fstat(descriptor).st_size)
        fsync(descriptor)

    monkeypatch.setattr(os, "fsync", noted)
    anchor(at=FIXED_NOW)
    assert sizes[0] == anchors.anchor_file().stat().st_size > 0
    assert len(sizes) == 2  # the file, then the folder in which it is new


def test_finds_an_end_that_was_cut_off_with_the_head(write_acts: Count) -> None:
    write_acts(3)
    anchor(at=FIXED_NOW)
    cut(3)
    report = check_chain()
    assert report.broken is None
    assert "cut off" in report.anchor_problem
    assert not report.holds


def test_does_not_see_a_cut_behind_the_last_anchor(write_acts: Count) -> None:
    """Why services anchor after each release and plan: only what was anchored is safe."""
    write_acts(2)
    anchor(at=FIXED_NOW)
    write_acts(1)
    cut(3)
    assert check_chain().holds


def test_does_not_see_a_rewritten_chain_without_an_anchor(write_acts: Count) -> None:
    write_acts(3)
    rewritten()
    assert check_chain().holds


def test_finds_a_chain_that_was_rewritten_after_an_anchor(write_acts: Count) -> None:
    write_acts(3)
    anchor(at=FIXED_NOW)
    rewritten()
    report = check_chain()
    assert report.broken is None
    assert "rewritten" in report.anchor_problem


def test_finds_a_database_begun_anew(write_acts: Count) -> None:
    write_acts(2)
    anchor(at=FIXED_NOW)
    ChainHead.objects.update(epoch=uuid4())
    assert "begun anew" in check_chain().anchor_problem
    with behind_the_guards():
        QuerySet(Payload).delete()
        QuerySet(Entry).delete()
    ChainHead.objects.all().delete()
    assert "begun anew" in check_chain().anchor_problem


@pytest.mark.parametrize(
    ("forge", "word"),
    [
        (lambda kept: [kept[0].replace('"number":1', '"number":9'), *kept[1:]], "Line 1"),
        (lambda kept: [kept[0], kept[2]], "before line 2"),
        (lambda kept: kept[1:], "before line 1"),
        (lambda kept: [*kept, "{}"], "Line 4"),
        (lambda kept: [*kept, "not an anchor"], "Line 4"),
        (lambda kept: [*kept, '{"number":1.5}'], "Line 4"),
        (lambda kept: [*kept, '{"number":1,"at":1.5}'], "Line 4"),
        (lambda kept: [*kept, "[" * 100_000], "Line 4"),
        (lambda kept: [kept[1], kept[0], kept[2]], "before line 1"),
    ],
)
def test_finds_anchors_that_were_tampered_with(
    write_acts: Count, forge: Callable[[list[str]], list[str]], word: str
) -> None:
    for _ in range(3):
        write_acts(1)
        anchor(at=FIXED_NOW)
    assert check_chain().anchors_checked == 3
    anchors.anchor_file().write_text("\n".join(forge(lines())) + "\n")
    report = check_chain()
    assert word in report.anchor_problem
    assert not report.holds
    assert last_anchor() is None


def test_passes_over_a_line_torn_by_a_power_cut(write_acts: Count) -> None:
    write_acts(1)
    anchor(at=FIXED_NOW)
    with anchors.anchor_file().open("a") as stream:
        stream.write('{"at":"2026-03-17T09:3')
    assert check_chain().anchors_checked == 1
    assert check_chain().holds
    write_acts(1)
    anchor(at=FIXED_NOW)
    assert len(lines()) == 2
    assert check_chain().anchors_checked == 2


def test_goes_on_after_very_many_lines(write_acts: Count) -> None:
    for _ in range(12):
        write_acts(1)
        anchor(at=FIXED_NOW)
    assert anchors.anchor_file().stat().st_size > 2 * anchors.LONGEST_LINE
    assert check_chain().anchors_checked == 12


def test_finds_anchors_written_with_another_key(write_acts: Count, settings: Settings) -> None:
    write_acts(1)
    settings.QCAPP_ANCHOR_KEY = b"somebody else's key, thirty-two bytes or more"
    anchor(at=FIXED_NOW)
    settings.QCAPP_ANCHOR_KEY = b"the installation's key, thirty-two bytes or more"
    assert "Line 1" in check_chain().anchor_problem


def test_is_written_once_the_act_is_committed(write_acts: Count, django_capture_on_commit_callbacks: Any) -> None:
    with django_capture_on_commit_callbacks(execute=True), transaction.atomic():
        write_acts(1)
        anchor_on_commit(at=FIXED_NOW)
        assert not anchors.anchor_file().exists()
    assert last_anchor() is not None


def test_is_not_written_for_an_act_that_failed(write_acts: Count, django_capture_on_commit_callbacks: Any) -> None:
    def failing() -> None:
        with transaction.atomic():
            write_acts(1)
            anchor_on_commit(at=FIXED_NOW)
            raise ZeroDivisionError

    with django_capture_on_commit_callbacks(execute=True), pytest.raises(ZeroDivisionError):
        failing()
    assert not anchors.anchor_file().exists()


@pytest.mark.django_db(transaction=True)
def test_leaves_the_act_standing_when_the_disk_is_full(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def full(**_: object) -> bool:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(anchors, "append", full)
    with transaction.atomic():
        acts(1)
        anchor_on_commit(at=FIXED_NOW)
    assert Entry.objects.count() == 1
    assert "No space left" in caplog.text


def test_is_written_by_the_command(write_acts: Count, capsys: pytest.CaptureFixture[str], data_folder: Path) -> None:
    call_command("anchor_audit")
    assert "Nothing new" in capsys.readouterr().out
    write_acts(1)
    call_command("anchor_audit")
    assert str(data_folder / "anchors" / "anchors.jsonl") in capsys.readouterr().out
    assert len(lines()) == 1
