"""What people decide about charts: frozen limits, values left out, signals acknowledged. No result changes by it."""

from __future__ import annotations

import random
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client

from qcapp.audit.models import Entry
from qcapp.core.errors import NotAllowed, NotFound
from qcapp.people.services import demonstration_proof
from qcapp.trends.characteristic import Wanted
from qcapp.trends.queries import page_of, signals_of, watch_of
from qcapp.trends.services import acknowledge_signal, freeze_limits, leave_point_out, put_point_back
from tests.cast import PIN, Cast
from tests.unchanged import refused, rows_of

from .line import FAMILY, Line, measured

ClientOf = Callable[..., Client]
PLACES = ("trends", "inspections", "people.Signature")


def steady(count: int, seed: int = 3, mean: float = 50.0) -> list[str]:
    source = random.Random(seed)
    return [f"{source.gauss(mean, 1.0):.3f}" for _ in range(count)]


def freeze(line: Line, first: int, last: int, **changes: object) -> object:
    given = {
        "proof": demonstration_proof(line.cast.quality_manager, line.at),
        "family_code": FAMILY, "key": "size", "first_serial": line.serials[first - 1],
        "last_serial": line.serials[last - 1], "reason": "before the fixture was rebuilt", "at": line.at,
    }  # fmt: skip
    return freeze_limits(**(given | changes))  # type: ignore[arg-type]


def shifted(cast: Cast) -> Line:
    """Thirty units about 50 and twelve about 53: eight in a row above the centre."""
    line = Line.with_plan(cast, measured())
    line.play("size", [*steady(30), *steady(12, 4, 53.0)])
    return line


def test_holds_frozen_limits_whatever_comes_later(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", steady(25))
    freeze(line, 1, 25)
    before = page_of(FAMILY, "size", Wanted(), people=False).chart
    line.play("size", steady(25, 5, 56.0))
    after = page_of(FAMILY, "size", Wanted(), people=False).chart
    assert (after.line("upper")[0], after.line("center")[0]) == (before.line("upper")[0], before.line("center")[0])
    assert "frozen over 25 points, DX-1-00001 to DX-1-00025" in after.base_sentence
    assert cast.quality_manager.name in after.base_sentence
    anew = page_of(FAMILY, "size", Wanted(anew=True), people=False)
    assert anew.frozen
    assert anew.chart.line("center")[0] > after.line("center")[0] + 1
    assert "all 50 points" in anew.chart.base_sentence


def test_freezes_the_published_limits_of_the_loan_example(cast: Cast, published) -> None:
    data = published("imr_montgomery_mortgage")  # the file names its source; twenty points, limits 279.78 to 321.22
    line = Line.with_plan(cast, measured(limits="200 to 400", decimals="0"))
    line.play("size", data["data"])
    freeze(line, 1, 20)
    line.play("size", [300, 340, 390, 210])
    chart = page_of(FAMILY, "size", Wanted(), people=False).chart
    assert chart.line("upper")[-1] == pytest.approx(321.22, abs=0.02)
    assert chart.line("lower")[-1] == pytest.approx(279.78, abs=0.02)
    assert chart.line("center") == [data["numbers"]["mean"]] * 24


def test_counts_the_limits_frozen_last(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", [*steady(25), *steady(25, 6, 52.0)])
    freeze(line, 1, 25)
    freeze(line, 50, 26, reason="after it was rebuilt.")
    chart = page_of(FAMILY, "size", Wanted(), people=False).chart
    assert "DX-1-00026 to DX-1-00050" in chart.base_sentence
    assert chart.base_sentence.endswith("after it was rebuilt.")
    assert chart.line("center")[0] > 51


def test_converts_frozen_limits_with_the_plan(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", steady(25))
    freeze(line, 1, 25)
    millimetres = page_of(FAMILY, "size", Wanted(), people=False).chart
    line.revise("B", measured(limits="1.5 to 2.5", unit_of_measure="in", decimals="4"))
    inches = page_of(FAMILY, "size", Wanted(), people=False).chart
    # one inch is 25.4 mm exactly: ISO 80000-3 and the international yard and pound agreement of 1959
    for name in ("center", "upper", "lower"):
        assert inches.line(name)[0] * 25.4 == pytest.approx(millimetres.line(name)[0], rel=1e-9)


def test_refuses_a_base_that_cannot_hold_limits(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", ["50.000"] * 21)
    with refused("base_too_short", *PLACES):
        freeze(line, 1, 19)
    with refused("no_chart", *PLACES):
        freeze(line, 1, 21)
    with refused("base_not_found", *PLACES):
        freeze(line, 1, 21, last_serial="DX-1-09999")
    with refused("text_missing", *PLACES):
        freeze(line, 1, 21, reason=" ")
    before = rows_of(*PLACES)
    with pytest.raises(NotFound):
        freeze(line, 1, 21, key="other")
    with pytest.raises(NotAllowed):
        freeze(line, 1, 21, proof=demonstration_proof(cast.metrology, line.at))
    assert rows_of(*PLACES) == before


def test_keeps_limits_of_one_kind_of_chart_for_that_kind(cast: Cast) -> None:
    from .line import row

    line = Line.with_plan(cast, row(101, "size", "attribute"))
    answers = [{"conforms": number % 7 != 0} for number in range(220)]
    line.play("size", answers)
    freeze(line, 1, 200)
    tens = page_of(FAMILY, "size", Wanted(last=500), people=False)
    assert tens.frozen
    assert "frozen over 20 points" in tens.chart.base_sentence
    assert not page_of(FAMILY, "size", Wanted(last=500, size=20), people=False).frozen


def test_leaves_a_value_out_and_puts_it_back(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", [*steady(20), "59.900"])
    serial = line.serials[-1]
    whole = page_of(FAMILY, "size", Wanted(), people=False)
    about = {"by": cast.quality_manager, "family_code": FAMILY, "key": "size", "at": line.at}
    leave_point_out(serial=serial.lower(), reason="the gauge had been dropped.", **about)
    without = page_of(FAMILY, "size", Wanted(), people=False)
    assert serial not in [reading.serial for reading in without.series.readings]
    assert [(one.reading.text, one.reason) for one in without.series.excluded] == [
        ("59.900", "the gauge had been dropped")
    ]
    assert without.chart.line("upper")[0] < whole.chart.line("upper")[0]
    with refused("point_left_out", *PLACES):
        leave_point_out(serial=serial, reason="again", **about)
    put_point_back(serial=serial, reason="it had not", **about)
    again = page_of(FAMILY, "size", Wanted(), people=False)
    assert again.series == whole.series
    assert list(Entry.objects.order_by("-number").values_list("verb", flat=True)[:2]) == [
        "trend.point_put_back", "trend.point_left_out",
    ]  # fmt: skip


def test_refuses_to_leave_out_what_is_not_there(cast: Cast) -> None:
    line = Line.with_plan(cast, measured())
    line.play("size", steady(5))
    about = {"family_code": FAMILY, "key": "size", "at": line.at, "reason": "why not"}
    with refused("point_not_found", *PLACES):
        leave_point_out(by=cast.engineer, serial="DX-1-00077", **about)
    with refused("point_not_found", *PLACES):
        put_point_back(by=cast.engineer, serial="DX-1-00001", **about)
    with refused("not_permitted", *PLACES):
        leave_point_out(by=cast.inspector, serial="DX-1-00001", **about)


def test_watches_with_frozen_limits_and_without_what_was_left_out(cast: Cast) -> None:
    line = shifted(cast)
    assert watch_of(FAMILY).entries[0].why == "signal"
    freeze(line, 1, 42)
    assert "frozen" in watch_of(FAMILY).entries[0].chart.base_sentence
    count = len(watch_of(FAMILY).entries[0].series.readings)
    leave_point_out(by=cast.engineer, family_code=FAMILY, key="size", serial=line.serials[0], reason="try", at=line.at)
    assert len(watch_of(FAMILY).entries[0].series.readings) == count - 1


def acknowledge(line: Line, **changes: object) -> object:
    episode = signals_of(FAMILY, "size").waiting[0]
    given = {
        "by": line.cast.quality_manager, "family_code": FAMILY, "key": "size", "rule": episode.rule,
        "fixture": episode.fixture, "first_serial": episode.first_serial, "reason": "clamp was loose, now tight",
        "at": line.at,
    }  # fmt: skip
    return acknowledge_signal(**(given | changes))  # type: ignore[arg-type]


def test_takes_an_acknowledged_signal_off_the_top_until_it_goes_on(cast: Cast) -> None:
    line = shifted(cast)
    while signals_of(FAMILY, "size").waiting:
        acknowledge(line)
    entry = watch_of(FAMILY).entries[0]
    assert entry.why != "signal"
    assert any("clamp was loose" in said and cast.quality_manager.name in said for said in entry.looked_into)
    line.play("size", steady(9, 8, 53.0))
    assert not [one for one in signals_of(FAMILY, "size").waiting if one.rule == "eight_on_one_side"]
    line.play("size", steady(4, 9, 53.0))
    assert [one for one in signals_of(FAMILY, "size").waiting if one.rule == "eight_on_one_side"]
    assert watch_of(FAMILY).entries[0].why == "signal"


def test_refuses_to_acknowledge_what_does_not_wait(cast: Cast) -> None:
    line = shifted(cast)
    with refused("no_such_signal", *PLACES):
        acknowledge(line, first_serial=line.serials[3])
    with refused("text_missing", *PLACES):
        acknowledge(line, reason="")
    with refused("not_permitted", *PLACES):
        acknowledge(line, by=cast.customer_service)
    first = signals_of(FAMILY, "size").waiting[0]
    acknowledge(line)
    with refused("no_such_signal", *PLACES):
        acknowledge(line, rule=first.rule, fixture=first.fixture, first_serial=first.first_serial)


def test_does_all_of_it_on_its_page(cast: Cast, client_of: ClientOf) -> None:
    line = shifted(cast)
    client, address = client_of(cast.quality_manager), f"/trends/{FAMILY}/size/decisions/"
    page = client.get(address).content.decode()
    assert page.count("Acknowledge</button>") == len(signals_of(FAMILY, "size").waiting) > 0
    episode = signals_of(FAMILY, "size").waiting[0]
    about = {"rule": episode.rule, "fixture": episode.fixture, "first_serial": episode.first_serial}
    assert client.post(f"{address}acknowledge/", about | {"reason": "looked at it"}).status_code == 302
    refusal = client.post(f"{address}acknowledge/", about | {"reason": "looked at it"})
    assert (refusal.status_code, "is not waiting" in refusal.content.decode()) == (409, True)
    base = {"first_serial": line.serials[0], "last_serial": line.serials[29], "reason": "as it should run"}
    wrong = client.post(f"{address}freeze/", base | {"pin": "000000"})
    assert wrong.status_code == 403
    assert "as it should run" in wrong.content.decode()
    assert client.post(f"{address}freeze/", base | {"pin": PIN}).status_code == 302
    point = {"serial": line.serials[2], "reason": "typed from memory <b>"}
    assert client.post(f"{address}leave-out/", point).status_code == 302
    page = client.get(address).content.decode()
    for text in ("as it should run", "typed from memory &lt;b&gt;", "Put back", "looked at it"):
        assert text in page
    assert client.post(f"{address}put-back/", point).status_code == 302
    assert "Every value counts" in client.get(address).content.decode()


def test_shows_the_page_without_forms_to_who_may_only_look(cast: Cast, client_of: ClientOf) -> None:
    shifted(cast)
    page = client_of(cast.metrology).get(f"/trends/{FAMILY}/size/decisions/").content.decode()
    assert "Signals that wait" in page
    assert '<button class="act"' not in page


def test_answers_in_few_queries(cast: Cast, client_of: ClientOf, django_assert_max_num_queries) -> None:
    line = shifted(cast)
    freeze(line, 1, 30)
    client = client_of(cast.quality_manager)
    with django_assert_max_num_queries(36):
        client.get(f"/trends/{FAMILY}/size/decisions/")
    line.at += timedelta(days=1)


def test_does_all_of_it_through_rest(cast: Cast, client_of: ClientOf) -> None:
    line = shifted(cast)
    client, address = client_of(cast.quality_manager), f"/api/v1/trends/{FAMILY}/size"

    def post(where: str, **body: object):
        return client.post(f"{address}/{where}", body, content_type="application/json")

    base = {"first_serial": line.serials[0], "last_serial": line.serials[29], "reason": "as it should run", "pin": PIN}
    signed = post("base-periods", **base)
    assert (signed.status_code, signed.json()["points"], signed.json()["chart"]) == (201, 30, "individuals")
    assert client.get(f"{address}/base-periods").json() == [signed.json()]
    assert post("base-periods", **base | {"last_serial": line.serials[3]}).json()["code"] == "base_too_short"
    out = post("left-out", serial=line.serials[1], left_out=True, reason="dropped gauge").json()
    assert [one["serial"] for one in out] == [line.serials[1]]
    assert post("left-out", serial=line.serials[1], left_out=False, reason="was fine").json() == []
    waiting = client.get(f"{address}/acknowledgements").json()["waiting"]
    one = {name: waiting[0][name] for name in ("rule", "fixture", "first_serial")}
    after = post("acknowledgements", **one, reason="loose clamp", action="CA-2026-0001")
    assert after.status_code == 201
    assert after.json()["acknowledged"][0]["action"] == "CA-2026-0001"
    assert len(after.json()["waiting"]) == len(waiting) - 1
    assert post("acknowledgements", **one, reason="loose clamp").json()["code"] == "no_such_signal"
