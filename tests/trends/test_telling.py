"""Signals come into the quality manager's inbox once, with the way to the chart, and no submission waits for it."""

from __future__ import annotations

import io
import random
import re
from collections.abc import Callable

import pytest
from django.core import mail
from django.core.management import call_command
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from qcapp.lib.pdf import REPOSITORY, PdfNotMade
from qcapp.messages.kinds import Kind
from qcapp.messages.models import Message, Picture
from qcapp.messages.services import choose_mail, delivering
from qcapp.messages.services.delivering import deliver_due
from qcapp.people.models import Person
from qcapp.production.queries import family_by_code
from qcapp.trends.management.commands.watch_signals import look
from qcapp.trends.models import SignalTold
from qcapp.trends.pictures.inks import words_of
from qcapp.trends.pictures.signalled import signal_picture
from qcapp.trends.queries import signals_of, watch_of
from qcapp.trends.services import acknowledge_signal
from qcapp.trends.services.telling import MOST_AT_ONCE, tell_signals
from qcapp.trends.signals import episodes_of
from tests.cast import Cast

from .line import FAMILY, FIXTURE_ROW, Line, measured


def values(count: int, seed: int, mean: float = 50.0) -> list[str]:
    source = random.Random(seed)
    return [f"{source.gauss(mean, 1.0):.3f}" for _ in range(count)]


@pytest.fixture
def line(cast: Cast) -> Line:
    made = Line.with_plan(cast, measured())
    made.play("size", values(30, 1))
    return made


def told() -> list[tuple[str, str]]:
    return list(Message.objects.order_by("id").values_list("to__badge", "subject"))


def test_tells_a_signal_once_to_each_quality_manager(line: Line, cast: Cast) -> None:
    family = family_by_code(FAMILY)
    assert tell_signals(family, at=line.at) == 0
    line.play("size", ["59.500"])
    assert tell_signals(family, at=line.at) >= 1
    after = told()
    assert {badge for badge, _ in after} == {cast.quality_manager.badge, cast.second_quality_manager.badge}
    assert all(subject == "DX-1: signal on Size" for _, subject in after)
    line.play("size", values(1, 4))
    assert tell_signals(family, at=line.at) == 0
    assert told() == after


def test_leads_to_the_chart(line: Line, cast: Cast, client_of: Callable[..., Client]) -> None:
    line.play("size", ["59.500"])
    tell_signals(family_by_code(FAMILY), at=line.at)
    message = Message.objects.first()
    assert line.serials[-1] in message.text
    page = client_of(cast.quality_manager).get(message.link).content.decode()
    assert line.serials[-1] in page
    assert "<svg" in page


def test_carries_the_chart_as_it_was_then(line: Line, cast: Cast, client_of: Callable[..., Client]) -> None:
    line.play("size", ["59.500"])
    tell_signals(family_by_code(FAMILY), at=line.at)
    (picture,) = Picture.objects.all()  # once for all receivers
    assert picture.alternative.startswith("Size, DX-1: individuals by order. 31 points. ")
    assert line.serials[-1] in picture.alternative
    line.play("size", values(3, 9))
    page = client_of(cast.quality_manager).get("/messages/").content.decode()
    assert picture.drawn in page
    assert page.count("<svg") == 1
    assert line.serials[-1] not in page


def test_draws_the_chart_of_the_fixture_that_signals(cast: Cast) -> None:
    line = Line.with_plan(cast, FIXTURE_ROW, measured())
    source = random.Random(7)
    steady = [f"{source.gauss(50, 0.5):.3f}" for _ in range(60)]
    line.play("size", steady, fixture=["TF-01", "TF-02"] * 30)
    shifted = [f"{source.gauss(50 + (0.8 if place % 2 else 0.0), 0.5):.3f}" for place in range(30)]
    line.play("size", shifted, fixture=["TF-01", "TF-02"] * 15)
    (entry,) = watch_of(FAMILY).entries
    episode = next(one for one in episodes_of(entry) if one.fixture == "TF-02")
    said = words_of(signal_picture(entry, episode))
    assert said.startswith("Size, DX-1: individuals on fixture TF-02 by order. 45 points. ")
    assert episode.first_serial in said
    tell_signals(family_by_code(FAMILY), at=line.at)
    (picture,) = Picture.objects.all()  # many signals of two charts: each chart once
    assert picture.alternative.startswith("DX-1: 2 charts with signals. ")
    assert picture.alternative.count(" by order. ") == 2


def test_sends_the_chart_by_mail_with_its_words(line: Line, cast: Cast) -> None:
    Person.objects.filter(pk=cast.quality_manager.pk).update(email="quality@example.com")
    choose_mail(by=cast.quality_manager, kinds=[Kind.TREND_SIGNAL.value], at=line.at)
    line.play("size", ["59.500"])
    tell_signals(family_by_code(FAMILY), at=line.at)
    assert deliver_due(at=line.at).sent == 1
    whole = mail.outbox[0].message()
    assert whole.get_content_type() == "multipart/related"
    image = next(part for part in whole.walk() if part.get_content_type() == "image/png")
    png = image.get_payload(decode=True)
    assert png.startswith(b"\x89PNG")
    assert int.from_bytes(png[16:20]) == 1120  # pixels across (PNG, 11.2.2)
    html = next(part for part in whole.walk() if part.get_content_type() == "text/html")
    page = html.get_payload(decode=True).decode()
    assert f"cid:{image['Content-ID'].strip('<>')}" in page
    alternative = re.search(r'alt="([^"]*)"', page)
    assert alternative
    assert line.serials[-1] in alternative[1]
    assert "Whether a unit conforms is decided by its band alone." in mail.outbox[0].body


def test_sends_the_words_alone_when_the_chart_cannot_be_drawn(
    line: Line, cast: Cast, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(svg: str, *, scale: float) -> bytes:
        raise PdfNotMade("chart_failed", "It cannot be drawn.")

    monkeypatch.setattr(delivering, "drawn_as_png", broken)
    Person.objects.filter(pk=cast.quality_manager.pk).update(email="quality@example.com")
    choose_mail(by=cast.quality_manager, kinds=[Kind.TREND_SIGNAL.value], at=line.at)
    line.play("size", ["59.500"])
    tell_signals(family_by_code(FAMILY), at=line.at)
    assert deliver_due(at=line.at).sent == 1
    assert mail.outbox[0].message().get_content_type() == "text/plain"


def test_looks_often_enough_to_tell_within_a_minute() -> None:
    unit = (REPOSITORY / "docs" / "deploy" / "qcapp-signals.service").read_text(encoding="utf-8")
    every = re.search(r"watch_signals --every (\d+)", unit)
    assert every
    assert int(every[1]) <= 30


def test_does_not_tell_what_was_acknowledged_before(line: Line, cast: Cast) -> None:
    line.play("size", ["59.500"])
    for one in signals_of(FAMILY, "size").waiting:
        acknowledge_signal(
            by=cast.engineer, family_code=FAMILY, key="size", rule=one.rule, fixture=one.fixture,
            first_serial=one.first_serial, reason="seen on the floor", at=line.at,
        )  # fmt: skip
    assert tell_signals(family_by_code(FAMILY), at=line.at) == 0
    assert told() == []


def test_tells_many_signals_together(cast: Cast) -> None:
    keys = [f"size_{number}" for number in range(MOST_AT_ONCE + 2)]
    line = Line.with_plan(cast, *[measured(101 + place, key) for place, key in enumerate(keys)])
    source = random.Random(5)
    for _ in range(30):
        serial = line.open()
        line.send([line.operation(serial, key, {"value": f"{source.gauss(50, 1):.3f}"}) for key in keys])
    serial = line.open()
    line.send([line.operation(serial, key, {"value": "59.000"}) for key in keys])
    count = tell_signals(family_by_code(FAMILY), at=line.at)
    assert count >= len(keys)
    assert {subject for _, subject in told()} == {f"DX-1: {count} signals"}
    (picture,) = Picture.objects.all()
    assert picture.alternative.startswith(f"DX-1: {MOST_AT_ONCE} charts with signals. Size ")
    assert picture.drawn.count('class="c-line"') == MOST_AT_ONCE
    assert SignalTold.objects.count() == count


def test_looks_only_at_families_with_newer_results(line: Line) -> None:
    line.play("size", ["59.500"])
    seen: dict[int, int] = {}
    assert look(seen) >= 1
    with CaptureQueriesContext(connection) as asked:
        assert look(seen) == 0
    assert len(asked) <= 3
    answer = io.StringIO()
    call_command("watch_signals", stdout=answer)
    assert answer.getvalue() == "0 signals told.\n"


def test_costs_a_submission_nothing(line: Line) -> None:
    with CaptureQueriesContext(connection) as asked:
        line.play("size", ["59.500"])
    assert not [query for query in asked if "trends_" in query["sql"]]
    assert told() == [] or all("signal" not in subject for _, subject in told())
