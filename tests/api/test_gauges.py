"""Gauges with their calibrations, studies and recall, welding papers and customers through the API."""

from __future__ import annotations

import base64
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.utils import timezone

from qcapp.certificates.services.issuing import issue_certificate
from qcapp.certificates.services.releasing import release
from qcapp.lib.site_days import site_day
from qcapp.people.services import demonstration_proof

from ..cast import Cast
from ..evidence.files import picture
from ..factories.inspections import SERIAL, Workshop
from ..unchanged import unchanged

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def _data_folder(settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def today() -> str:
    return site_day(timezone.now()).isoformat()


GAUGE = {"number": "HG-07", "kind_key": "height_gauge_x", "unit_of_measure": "mm", "range_upper": "600"}
POINT = {"reference": "100", "as_found": "100.02", "limit": "0.03"}


@pytest.fixture
def metrology(cast: Cast, api_of: Any) -> Any:
    """The program of metrology, with a gauge added and calibrated through it."""
    api = api_of(cast.metrology)
    assert api.post("gauge-kinds", {"key": "height_gauge_x", "name": "height gauge"})["name"] == "height gauge"
    assert api.post("gauges", GAUGE)["reason"] == "gauge_never_calibrated"
    told = {"done_on": today(), "done_by": "Room 2", "expanded_uncertainty": "0.01", "points": [POINT]}
    found = api.post("gauges/HG-07/calibrations", told)
    assert (api.status, found["gauge"]["usable"]) == (201, True)
    return api


def test_tells_a_gauge_with_its_points_and_when_it_is_due(metrology: Any) -> None:
    found = metrology.get("gauges/hg-07")
    (calibration,) = found["calibrations"]
    assert (calibration["said"]["outcome"], calibration["found_out"]) == ("passed", False)
    assert calibration["said"]["points"][0]["as_found"] == "100.02"
    (due,) = metrology.get("gauges-due")["due"]
    assert (due["number"], due["days"] > 300) == ("HG-07", True)
    assert "height_gauge_x" in [one["key"] for one in metrology.get("gauge-kinds")["kinds"]]


def test_takes_a_gauge_out_of_use_and_puts_it_back(metrology: Any) -> None:
    assert not metrology.post("gauges/HG-07/out-of-use", {"reason": "Dropped."})["gauge"]["usable"]
    found = metrology.post("gauges/HG-07/back-in-use", {"reason": "Looked at."})
    assert (found["gauge"]["usable"], [one["kind"] for one in found["uses"]]) == (True, ["back", "out"])


def test_refuses_a_gauge_that_cannot_be_meant_so(metrology: Any) -> None:
    tomorrow = (site_day(timezone.now()) + timedelta(days=1)).isoformat()
    told = {"done_on": tomorrow, "done_by": "Room 2", "outcome": "passed"}
    for path, body, code in (
        ("gauges", GAUGE | {"number": "hg-07"}, "gauge_number_taken"),
        ("gauges", GAUGE | {"number": "HG-08", "kind_key": "none"}, "gauge_kind_unknown"),
        ("gauges/HG-07/calibrations", told, "calibration_in_future"),
        ("gauges/HG-07/calibrations", told | {"done_on": today(), "points": [POINT | {"limit": "0"}]},
         "calibration_points"),
        ("gauges/HG-07/back-in-use", {"reason": "fine"}, "gauge_not_out_of_use"),
        ("gauges/HG-99/out-of-use", {"reason": "lost"}, "gauge_unknown"),
        ("gauge-kinds", {"key": "height_gauge_x", "name": "again"}, "gauge_kind_taken"),
        ("gauges/HG-07/studies", {"title": "t", "badges": ["1"], "parts": 10, "trials": 3}, "study_people"),
    ):  # fmt: skip
        with unchanged("gauges"):
            assert metrology.post(path, body)["code"] == code


def test_reads_a_study_blind_and_tells_it_when_complete(metrology: Any, cast: Cast, api_of: Any) -> None:
    people = (cast.inspector, cast.second_inspector)
    told = {"title": "501 head angle", "badges": [one.badge for one in people], "parts": 3, "trials": 2}
    study = metrology.post("gauges/HG-07/studies", told)["study"]
    for number, person in enumerate(people):
        api = api_of(person)
        following = api.get(f"studies/{study}/readings")
        assert following["of"] == 6
        assert metrology.get(f"studies/{study}")["said"]["rows"] == []
        while following["part"] is not None:
            value = f"{10 + following['part']}.{following['place'] % 3 + number}"
            following = api.post(f"studies/{study}/readings", {"place": following["place"], "value": value})
        assert following["done"] == 6
    found = metrology.get(f"studies/{study}")["said"]
    assert found["by_anova"]["percent_study"] > 0
    assert metrology.get("gauges/HG-07")["studies"][0]["study"] == study
    assert api_of(cast.third_inspector).get(f"studies/{study}/readings")["code"] == "study_not_yours"


def test_recalls_what_a_wrong_gauge_measured_and_holds_it(workshop: Workshop, api_of: Any) -> None:
    """The head angle was read with AG-01 today; its calibration finds it wrong by half a degree."""
    workshop.finish(upto=1)
    api = api_of(workshop.cast.metrology)
    points = [{"reference": "60", "as_found": "60.5", "as_left": "60", "limit": "0.05"}]
    number = api.get(f"units/{SERIAL}")["results"][0]["gauge"] or "AG-01"
    told = {"done_on": today(), "done_by": "Room 2", "points": points, "expanded_uncertainty": "0.01"}
    found = api.post(f"gauges/{number}/calibrations", told)
    path = f"gauges/{number}/recall/{found['calibrations'][0]['calibration']}"
    recall = api.get(path)["recall"]
    assert [unit["serial"] for unit in recall["units"]] == [SERIAL]
    with unchanged("recall", "production"):
        assert api.signed(path, serials=["FR-200-9"], reason="no")["code"] == "serial_unknown"
    done = api.signed(path, serials=[SERIAL], reason="Found out of tolerance.")["recall"]
    assert (done["units"][0]["on_hold"], done["done"][0]["units"]) == (True, 1)
    with unchanged("recall", "production"):
        assert api.signed(path, serials=[SERIAL], reason="again")["code"] == "all_on_hold"


# ------------------------------------------------------------------------------------------------- welding


SCOPE = {"process": "141", "thickness_from": "0.7", "thickness_to": "3"}


def test_keeps_procedures_and_qualifications_and_checks_them_before_the_arc(workshop: Workshop, api_of: Any) -> None:
    cast = workshop.cast
    api, welder = api_of(cast.welding_coordinator), api_of(cast.welder)
    told = SCOPE | {"number": "WP-3", "revision": "A", "title": "Tube to tube", "base_grades": ["25CrMo4"]}
    (procedure,) = api.post("weld-procedures", told)["procedures"]
    arc = {
        "operation": str(uuid4()), "joints": ["W7"], "procedure": procedure["uuid"], "thickness": "2.1",
        "base_grade": "25CrMo4", "filler_lot": "F-1", "machine": "M-2", "fixture": "FX-1",
    }  # fmt: skip
    with unchanged("production"):
        assert welder.post(f"units/{SERIAL}/arcs", arc)["code"] == "welder_not_qualified"
        assert welder.post(f"units/{SERIAL}/arcs", arc | {"thickness": "9"})["code"] == "procedure_out_of_range"
        assert api.post("weld-procedures", told)["code"] == "procedure_revision_taken"
    paper = SCOPE | {"welder": cast.welder.badge, "certificate": "Q-1", "issued_on": today(), "expires_on": today()}
    assert len(api.post("welder-qualifications", paper)["qualifications"]) == 1
    assert welder.post(f"units/{SERIAL}/arcs", arc) == {"report": None}
    assert len(welder.get("weld-procedures")["procedures"]) == 1
    assert len(welder.get("welder-qualifications")["qualifications"]) == 1


# ----------------------------------------------------------------------------------------------- customers


def test_enters_customers_and_orders_and_hides_them_from_others(cast: Cast, api_of: Any) -> None:
    api = api_of(cast.customer_service)
    api.post("customers", {"number": "C-104", "name": "Orchard Rise Growers"})
    assert api.post("orders", {"number": "S-1", "customer": "c-104"})["customer"]["name"] == "Orchard Rise Growers"
    assert [one["number"] for one in api.get("customers")["customers"]] == ["C-104"]
    assert [one["number"] for one in api.get("orders")["orders"]] == ["S-1"]
    with unchanged("customers"):
        assert api.post("customers", {"number": "C-104", "name": "Other"})["code"] == "customer_taken"
        assert api.post("orders", {"number": "S-2", "customer": "C-9"})["code"] == "customer_unknown"
    assert api_of(cast.welder).get("customers")["code"] == "not_permitted"


def test_dispatches_and_records_what_happened_afterwards(workshop: Workshop, api_of: Any) -> None:
    cast, now = workshop.cast, timezone.now()
    api, service = api_of(cast.dispatch), api_of(cast.customer_service)
    api.post("customers", {"number": "C-104", "name": "Orchard Rise Growers"})
    api.post("orders", {"number": "S-1", "customer": "C-104"})
    hand_over = {"order_number": "S-1", "certificate_number": "FR-0", "issue": 1}
    with unchanged("customers", "production", "people.Signature"):
        assert api.signed(f"units/{SERIAL}/dispatch", **hand_over)["code"] == "unit_not_released"
    assert cast.second_quality_manager
    workshop.finish()
    release(proof=demonstration_proof(cast.quality_manager, now), serial=SERIAL, at=timezone.now())
    card = issue_certificate(by=cast.quality_manager, serial=SERIAL, at=timezone.now())
    found = api.signed(f"units/{SERIAL}/dispatch", **(hand_over | {"certificate_number": card.number}))
    assert found["dispatch"]["order"]["customer"]["number"] == "C-104"
    assert api.get(f"units/{SERIAL}/dispatch") == found
    photo = {"name": "ditch.jpg", "content": base64.b64encode(picture()).decode()}
    event = {"kind": "accident", "happened_on": today(), "text": "In a ditch.", "photos": [photo]}
    (told,) = service.post(f"units/{SERIAL}/service-events", event)["events"]
    assert (told["kind_label"], len(told["photos"])) == ("accident", 1)
    with unchanged("customers"):
        assert service.post(f"units/{SERIAL}/service-events", event | {"kind": "praise"})["code"] == "event_kind"
    assert len(service.get(f"units/{SERIAL}/service-events")["events"]) == 1


def test_keeps_fixtures_and_inspectors(cast: Cast, api_of: Any) -> None:
    api = api_of(cast.metrology)
    assert not api.post("fixtures", {"number": "tf-03", "name": "tack fixture"})["usable"]
    told = {"done_on": today(), "passed": True, "done_by": "Room 2"}
    assert api.post("fixtures/TF-03/verifications", told)["usable"]
    assert [one["number"] for one in api.get("fixtures")["fixtures"]] == ["TF-03"]
    with unchanged("production"):
        assert api.post("fixtures", {"number": "TF-03", "name": "again"})["code"] == "fixture_taken"
        assert api.post("fixtures/TF-09/verifications", told)["code"] == "fixture_unknown"
    coordinator, paper = api_of(cast.welding_coordinator), {"inspector": cast.inspector.badge, "certificate": "VT-2"}
    dates = {"issued_on": today(), "expires_on": today()}
    with unchanged("production"):
        assert coordinator.post("inspectors", paper | dates | {"method": "x-ray"})["code"] == "method_unknown"
    coordinator.post("inspectors", paper | dates | {"method": "visual"})
    seen = {"inspector": cast.inspector.badge, "done_on": today(), "passed": True}
    found = coordinator.post("eyesight-checks", seen)
    assert (found["authorisations"][0]["method"], found["eyesight_checks"][0]["passed"]) == ("visual", True)
    assert coordinator.get("inspectors") == found
