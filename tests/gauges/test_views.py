"""The gauges' pages."""

from __future__ import annotations

from datetime import date

import pytest

from qcapp.gauges.models import Calibration, Gauge, GaugeKind
from qcapp.gauges.queries import gauge_kinds
from qcapp.gauges.services import add_kind
from qcapp.gauges.usual_kinds import USUAL_KINDS
from tests.cast import FIXED_NOW
from tests.factories.gauges import CalibrationFactory, GaugeFactory, GaugeKindFactory
from tests.unchanged import rows_of


@pytest.fixture
def metrology(cast, client_of):
    return client_of(cast.metrology)


def test_lists_each_gauge_with_its_state_in_words(cast, client_of, django_assert_max_num_queries):
    CalibrationFactory(gauge__number="HG-07", due_on=date(2020, 5, 3))
    GaugeFactory(number="EY-01", needs_calibration=False)
    client = client_of(cast.customer_service)
    with django_assert_max_num_queries(20):
        page = client.get("/gauges/").content.decode()
    assert page.index("HG-07") < page.index("EY-01")
    assert "Gauge HG-07 was due on 3 May 2020" in page
    assert "0 to 150 mm" in page
    assert "Add a gauge" not in page


def test_says_what_to_do_when_there_is_no_gauge(metrology):
    assert "No gauge yet" in metrology.get("/gauges/").content.decode()


def test_adds_a_kind_and_a_gauge(metrology):
    assert metrology.post("/gauges/kinds/add/", {"key": "bore_gauge", "name": "Bore gauge"}).status_code == 302
    values = {"number": "BG-02", "kind_key": "bore_gauge", "resolution": "0.001", "interval_months": "6"}
    assert metrology.post("/gauges/add/", values).headers["Location"] == "/gauges/BG-02/"
    assert str(Gauge.objects.get(number="BG-02").resolution) == "0.001"
    assert GaugeKind.objects.filter(key="bore_gauge").exists()


def test_shows_a_refusal_in_the_form_and_keeps_what_was_typed(metrology):
    GaugeFactory(number="BG-02")
    values = {"number": "BG-02", "kind_key": "caliper", "interval_months": "6", "description": "small one"}
    before = rows_of("gauges")
    answer = metrology.post("/gauges/add/", values)
    assert answer.status_code == 409
    assert "There is a gauge BG-02 already" in answer.content.decode()
    assert "small one" in answer.content.decode()
    assert rows_of("gauges") == before


def test_records_a_calibration_and_takes_out_of_use(metrology):
    GaugeFactory(number="HG-07")
    values = {"done_on": "2026-01-05", "outcome": "passed", "done_by": "Metrology room"}
    assert metrology.post("/gauges/HG-07/calibrations/", values).status_code == 302
    assert Calibration.objects.get().due_on == date(2027, 1, 5)
    assert metrology.post("/gauges/HG-07/out-of-use/", {"reason": "jaws bent"}).status_code == 302
    page = metrology.get("/gauges/HG-07/").content.decode()
    assert "jaws bent" in page
    assert "Put back in use" in page
    assert metrology.post("/gauges/HG-07/back-in-use/", {"reason": "repaired"}).status_code == 302


def test_refuses_a_calibration_of_tomorrow_on_the_page(metrology):
    GaugeFactory(number="HG-07")
    values = {"done_on": "2099-01-05", "outcome": "passed", "done_by": "Metrology room"}
    answer = metrology.post("/gauges/HG-07/calibrations/", values)
    assert answer.status_code == 400
    assert "dated in the future" in answer.content.decode()
    assert not Calibration.objects.exists()


@pytest.mark.parametrize(("typed", "kept"), [("0,02", "0.02"), ("0.020", "0.020"), ("a lot", None), ("1e400", None)])
def test_reads_an_uncertainty_with_a_comma_or_a_point(metrology, typed, kept):
    GaugeFactory(number="HG-07")
    values = {"done_on": "2026-01-05", "outcome": "passed", "done_by": "Room 2", "expanded_uncertainty": typed}
    status = metrology.post("/gauges/HG-07/calibrations/", values).status_code
    assert status == (302 if kept else 400)
    assert [str(one.expanded_uncertainty) for one in Calibration.objects.all()] == ([kept] if kept else [])


def test_leads_back_from_a_study_that_is_planned_to_its_gauge(metrology):
    GaugeFactory(number="HG-05")
    page = metrology.get("/gauges/HG-05/studies/plan/").text
    crumbs = page.split('<p class="crumbs">')[1].split("</p>")[0]
    assert '<a href="/gauges/HG-05/">HG-05</a>' in crumbs


@pytest.mark.parametrize("address", ["add/", "kinds/add/", "HG-07/calibrations/", "HG-07/out-of-use/"])
def test_refuses_who_does_not_keep_gauges(cast, client_of, address):
    GaugeKindFactory()
    GaugeFactory(number="HG-07")
    before = rows_of("gauges")
    assert client_of(cast.inspector).post(f"/gauges/{address}", {"reason": "x"}).status_code == 403
    assert rows_of("gauges") == before


def test_an_unknown_gauge_is_not_found(metrology):
    assert metrology.get("/gauges/XX-99/").status_code == 404


def test_adds_the_usual_kinds_at_once_and_none_twice(cast, client_of):
    """The kinds of the registry, as the issue names them: common practice, no source."""
    client = client_of(cast.metrology)
    add_kind(by=cast.metrology, key="caliper", name="our caliper", at=FIXED_NOW)
    page = client.get("/gauges/kinds/add/").content.decode()
    assert "Add all 19" in page
    assert client.post("/gauges/kinds/usual/").status_code == 302
    names = {kind.key: kind.name for kind in gauge_kinds()}
    assert set(USUAL_KINDS) <= set(names)
    assert names["caliper"] == "our caliper"
    told = client.post("/api/v1/gauge-kinds/usual")
    assert (told.status_code, len(told.json()["kinds"])) == (201, 20)
    assert "The usual kinds" not in client.get("/gauges/kinds/add/").content.decode()
    assert client_of(cast.inspector).post("/gauges/kinds/usual/").status_code == 403
