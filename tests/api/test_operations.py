"""Results through the API: shapes, bad bodies, duplicates with their report, and what the bench hides."""

from __future__ import annotations

import json
from typing import Any

import pytest
from pytest_django.fixtures import DjangoAssertNumQueries

from qcapp.inspections.models import Result

from ..cast import Cast
from ..factories.inspections import SERIAL, Workshop
from .conftest import Api

pytestmark = pytest.mark.django_db


def send(api: Api, *operations: object, **more: Any) -> list[dict[str, Any]]:
    body = api.post("operations", {"device": "tablet 7", "operations": list(operations)} | more)
    assert api.status == 200, body
    found: list[dict[str, Any]] = body["operations"]
    return found


def test_records_results_and_answers_each(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    good, bad = send(
        api,
        workshop.operation("head_angle", "61.94"),
        workshop.operation("left_length", "NaN"),
        sent_at=workshop.at.isoformat(),
    )
    assert (good["outcome"], good["verdict"], good["limits"]) == ("applied", "in_band", "61.85 to 62.15 °")
    assert (bad["outcome"], bad["code"]) == ("rejected", "value_not_a_number")
    assert Result.objects.count() == 1


def test_logs_a_submission_by_its_first_stored_entry_and_nothing_that_was_typed(
    workshop: Workshop, api_of: Any, caplog: pytest.LogCaptureFixture
) -> None:
    stored = workshop.operation("left_length", "250.1", raw="typed by hand")
    with caplog.at_level("INFO", "qcapp.submissions"):
        send(api_of(workshop.cast.inspector), workshop.operation("head_angle", "NaN"), stored)
    (line,) = (one for one in caplog.records if one.name == "qcapp.submissions")
    assert line.__dict__["submission"] == stored["id"]
    assert line.getMessage() == f"submission {stored['id']}: 1 applied, 1 rejected"


def test_raises_a_report_and_names_it_again_to_a_duplicate(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    body = workshop.operation("head_angle", "62.20")
    (first,) = send(api, body)
    assert first["report"].startswith("NCR-")
    (again,) = send(api, body)
    assert (again["outcome"], again["report"], again["excess"]) == ("duplicate", first["report"], "0.05")
    joined = workshop.operation("head_angle", "62.30", purpose="repeat", base=body["id"], reason="burr", gauge="AG-02")
    (second,) = send(api, joined)
    (again,) = send(api, joined)
    assert first["report"] == second["report"] == again["report"]


@pytest.mark.parametrize(
    ("content", "status", "code"),
    [
        (b"", 400, "fields_invalid"),
        (b"{", 400, "json_unreadable"),
        (b"[]", 400, "body_not_object"),
        (b'"text"', 400, "body_not_object"),
        (b"{}", 400, "fields_invalid"),
        (b'{"device": 7}', 400, "fields_invalid"),
        (b'{"device": "t"}', 400, "operations_unreadable"),
        (b'{"device": "t", "operations": {}}', 400, "operations_unreadable"),
        (b'{"device": "t", "operations": [], "extra": 1}', 400, "field_unknown"),
        (b'{"device": "t", "operations": [], "sent_at": "now"}', 400, "time_unreadable"),
        (b'{"device": "t", "operations": [], "sent_at": "2026-03-17T09:30:00"}', 400, "time_unreadable"),
        (b'{"device": "t\\u0000", "operations": []}', 400, "text_not_plain"),
        (b'{"device": "' + b"t" * 61 + b'", "operations": []}', 400, "text_too_long"),
        (b'{"device": "t", "operations": [NaN]}', 400, "json_unreadable"),
        (b'{"device": "t", "operations": ' + b"[" * 60000 + b"]" * 60000 + b"}", 400, "json_unreadable"),
        (b'{"device": "t", "operations": [' + b"1" * 5000 + b"]}", 400, "json_unreadable"),
        ('{"device": "t", "operations": []}'.encode("utf-16"), 400, "json_unreadable"),
        (b"\xff\xfe", 400, "json_unreadable"),
        (b'{"device": "t", "operations": [' + b"1," * 200 + b"1]}", 400, "too_many_operations"),
        (b" " * (4 * 1024 * 1024 + 1), 413, "body_too_large"),
    ],
)
def test_refuses_a_body_that_cannot_be_read(
    workshop: Workshop, api_of: Any, content: bytes, status: int, code: str
) -> None:
    api = api_of(workshop.cast.inspector)
    answer = api.client.post("/api/v1/operations", content, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert not Result.objects.exists()


@pytest.mark.parametrize("operation", [None, 1, "x", [], {}, {"id": 1}, {"id": "\0"}, [[[[]]]]])
def test_answers_an_unreadable_operation_by_itself(workshop: Workshop, api_of: Any, operation: object) -> None:
    api = api_of(workshop.cast.inspector)
    bad, good = send(api, operation, workshop.operation("head_angle"))
    assert (bad["outcome"], good["outcome"]) == ("rejected", "applied")


def test_takes_no_other_content_type(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    answer = api.client.post("/api/v1/operations", "device=t", content_type="application/x-www-form-urlencoded")
    assert (answer.status_code, answer.json()["code"]) == (415, "media_type_unsupported")
    assert api.client.put("/api/v1/operations", "{}").status_code == 405


# --------------------------------------------------------------------------------------------------- the bench


def bench(api: Api) -> dict[str, Any]:
    found: dict[str, Any] = api.get(f"units/{SERIAL}/bench")
    assert api.status == 200
    return found


def at(body: dict[str, Any], key: str) -> dict[str, Any]:
    return next(one for one in body["checkpoints"] if one["key"] == key)


def test_gives_the_tablet_everything_it_needs_of_a_unit(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    body = bench(api)
    assert (body["unit"]["serial"], body["revision"]["letter"], body["person"]["badge"]) == (SERIAL, "D", "1001")
    assert [(stage["number"], stage["may_start"]) for stage in body["stages"]] == [(1, True), (2, False), (3, False)]
    head = at(body, "head_angle")
    assert (head["task"], head["limits"], head["gauge_kinds"]) == ("first", "61.85 to 62.15 °", ["angle_gauge"])
    assert (head["band"]["lower"], head["band"]["upper"]) == ("61.85", "62.15")
    assert at(body, "length_difference")["inputs"] == ["left_length", "right_length"]
    assert at(body, "length_difference")["task"] == "wait"
    assert at(body, "sampled_gap")["task"] == "none"
    gauges = {gauge["number"]: gauge["usable"] for gauge in body["gauges"]}
    assert (gauges["CA-01"], gauges["CA-02"]) == (True, False)


def test_says_what_may_follow_an_answer(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    body = workshop.operation("left_length", "251.0")
    workshop.send(body)
    found = at(bench(api), "left_length")
    assert (found["task"], found["outcome"], found["base"]) == ("done", "out_of_band", body["id"])
    assert (found["may_repeat"], found["may_correct"], found["report"][:4]) == (True, True, "NCR-")
    assert bench(api)["holds"][0]["source"] == found["report"]
    again = workshop.operation("left_length", "250.1", purpose="repeat", base=found["base"], reason="burr")
    assert send(api, again)[0]["outcome"] == "applied"
    assert at(bench(api), "left_length")["may_repeat"] is False


def test_gives_the_base_that_settles_a_conflict(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.inspector)
    workshop.send(workshop.operation("head_angle", "61.94"))
    workshop.send(workshop.operation("head_angle", "61.99"), device="tablet 8")
    found = at(bench(api), "head_angle")
    assert (found["task"], found["state"]) == ("settle", "in_conflict")
    settling = workshop.operation("head_angle", purpose="correction", base=found["base"], reason="looked again")
    assert send(api, settling)[0]["conflict"] is False
    assert at(bench(api), "head_angle")["state"] == "answered"


@pytest.mark.parametrize("key", ["weld_w7", "throat_w7"])
def test_never_tells_the_first_answer_to_who_could_give_the_second(
    workshop: Workshop, api_of: Any, cast: Cast, key: str
) -> None:
    telling = {"weld_w7": {"conforms": False, "note": "undercut 0.8"}, "throat_w7": {"value": "2.713"}}[key]
    secret = {"weld_w7": "undercut", "throat_w7": "2.713"}[key]
    workshop.send(workshop.operation(key, telling))
    assert secret in api_of(cast.inspector).get("reports")["reports"][0]["title"]  # a report stands about it
    for person in (cast.second_inspector, cast.third_inspector, cast.welder, cast.quality_manager):
        api = api_of(person)
        found = api.get("reports")["reports"]
        paths = [f"reports/{report['number']}" for report in found]
        for path in (f"units/{SERIAL}/bench", f"units/{SERIAL}", "units", "reports", *paths):
            api.get(path)
            assert secret not in api.response.content.decode(), f"{path} tells {person.name}"
    found = at(bench(api_of(cast.second_inspector)), key)
    assert (found["task"], found["first_given"], found["hidden"], found["outcome"]) == ("second", True, True, None)
    assert (list(found["stands"]), found["may_inspect"]) == (["1"], True)  # that it stands, not what it says
    assert at(bench(api_of(cast.welder)), key)["may_inspect"] is False
    own = api_of(cast.inspector)
    assert secret in json.dumps(bench(own))
    assert at(bench(own), key)["may_inspect"] is False
    assert at(bench(own), key)["task"] == "wait"


def test_tells_both_answers_once_the_second_is_given(workshop: Workshop, api_of: Any, cast: Cast) -> None:
    workshop.send(workshop.operation("weld_w7", {"conforms": False, "note": "undercut"}))
    second = workshop.operation("weld_w7", inspection=2, person=cast.second_inspector)
    assert send(api_of(cast.second_inspector), second)[0]["outcome"] == "applied"
    found = at(bench(api_of(cast.third_inspector)), "weld_w7")
    assert (found["task"], found["disagree"]) == ("third", True)
    assert "undercut" in api_of(cast.third_inspector).get(f"units/{SERIAL}")["results"][0]["described"]


def test_makes_the_welder_wait_for_somebody_else(workshop: Workshop, api_of: Any, cast: Cast) -> None:
    body = bench(api_of(cast.welder))
    assert at(body, "pores")["task"] == "wait"
    assert at(body, "weld_w7")["task"] == "first"


def test_serves_the_bench_in_few_queries(
    workshop: Workshop, api_of: Any, django_assert_max_num_queries: DjangoAssertNumQueries
) -> None:
    api = api_of(workshop.cast.second_inspector)
    workshop.answer_stage(1)
    workshop.send(workshop.operation("weld_w7", {"conforms": False}))
    bench(api)  # the first request of a day renews the session
    with django_assert_max_num_queries(20):
        bench(api)
