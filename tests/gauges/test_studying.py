"""Gauge studies: read blind, in an order drawn by chance, and computed as published."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path

import pytest

from qcapp.audit.queries import entries_about
from qcapp.gauges.models import Study, StudyReading
from qcapp.gauges.study_picture import study_picture
from qcapp.gauges.studying import next_reading, plan_study, record_reading, studies_beside, study_card
from tests.factories.gauges import GaugeFactory
from tests.unchanged import refused

VECTORS = Path(__file__).resolve().parents[1] / "vectors"


@pytest.fixture
def gauge(db):
    return GaugeFactory(number="CA-01")


def plan(cast, at, **changes):
    given = {
        "by": cast.metrology, "number": "CA-01", "title": "501 head angle", "parts": 3, "trials": 2,
        "badges": [cast.inspector.badge, cast.second_inspector.badge], "at": at,
    }  # fmt: skip
    return plan_study(**(given | changes))


def read_all(row: Study, people, at, value_of) -> None:
    """Everybody reads what is next until nothing is left; `value_of(person, part, trial)` is what the gauge shows."""
    for person in people:
        seen: dict[int, int] = {}
        while (following := next_reading(row.pk, person)) is not None:
            seen[following.part] = seen.get(following.part, 0) + 1
            value = value_of(person, following.part, seen[following.part])
            record_reading(by=person, study_id=row.pk, place=following.place, value=value, at=at)


def test_has_each_person_read_each_part_as_often_as_planned(cast, fixed_now, gauge):
    row = plan(cast, fixed_now, parts=5, trials=3)
    pairs = [tuple(one) for one in row.order]
    assert len(pairs) == 5 * 2 * 3
    assert all(pairs.count(pair) == 3 for pair in pairs)


def test_draws_the_order_by_chance(cast, fixed_now, gauge):
    orders = {json.dumps(plan(cast, fixed_now, parts=10).order) for _ in range(3)}
    # two equal orders of ten parts, four times over, come once in 10!⁴ draws
    assert len(orders) == 3


def test_computes_the_published_study(cast, fixed_now, gauge):
    data = json.loads((VECTORS / "statistics_grr_aiag_10x3x3.json").read_text(encoding="utf-8"))  # names its source
    people = dict(zip("ABC", (cast.inspector, cast.second_inspector, cast.third_inspector), strict=True))
    row = plan(cast, fixed_now, parts=10, trials=3, badges=[person.badge for person in people.values()])
    letters = {person.pk: letter for letter, person in people.items()}

    def value(person, part, trial):
        return str(data["data_by_appraiser_trial_rows"][letters[person.pk]][trial - 1][part - 1])

    read_all(row, people.values(), fixed_now, value)
    found = study_card(row.pk)
    expected = {one["quantity"]: one for one in data["anova_components_sd_interaction_pooled"]}
    for name, share in (("EV", "repeatability"), ("AV", "reproducibility"), ("GRR", "gauge")):
        published = expected[name]
        assert found.by_anova.shares[share].sigma == pytest.approx(published["value"], abs=max(published["tol"], 1e-6))
    table = {one["quantity"]: one for one in data["anova_table"]}
    assert {round(line.ss, 3) for line in found.by_anova.table} >= {round(table["ss_parts"]["value"], 3)}
    assert found.by_ranges.method == "average_range"
    drawn = study_picture(found)
    assert drawn.count("<circle") == 90
    assert drawn.count('class="c-line"') == 3 * 9 + 3  # through the means, and the key
    assert [entry.verb for entry in entries_about("gauge CA-01")][-2:] in (
        ["gauge.study_planned", "gauge.study_read"], ["gauge.study_read", "gauge.study_planned"],
    )  # fmt: skip


def test_is_kept_with_its_checkpoint(cast, fixed_now, gauge):
    row = plan(cast, fixed_now, checkpoint="fr-200  501")
    plan(cast, fixed_now)
    assert [(one.id, one.checkpoint) for one in studies_beside((), "FR-200 501")[1]] == [(row.pk, "FR-200 501")]


def test_compares_verdicts_with_the_truth_as_published(cast, fixed_now, gauge):
    data = json.loads((VECTORS / "statistics_attribute_effectiveness_aiag.json").read_text(encoding="utf-8"))
    case = next(one for one in data["cases"] if one["appraiser"] == "A")
    bad_good, good_bad = case["reference_table"][0][1], case["reference_table"][1][0]
    # the published table has 48 verdicts on 16 bad parts and 102 on 34 good ones, three each; 42 of 50 right every time
    misses, alarms = [0] * 16, [0] * 34
    wrong_parts = case["parts"] - case["parts_right_every_time"]
    for number in range(good_bad):
        misses[number % max(1, min(good_bad, wrong_parts))] += 1
    left = wrong_parts - sum(one > 0 for one in misses)
    for number in range(bad_good):
        alarms[number % left] += 1
    wrong = dict(enumerate([*misses, *alarms], start=1))
    truth = [False] * 16 + [True] * 34
    row = plan(cast, fixed_now, parts=50, trials=3, truth=truth)

    def value(person, part, trial):
        says = truth[part - 1] != (trial <= wrong[part]) if person.pk == cast.inspector.pk else truth[part - 1]
        return "yes" if says else "no"

    read_all(row, (cast.inspector, cast.second_inspector), fixed_now, value)
    drawn = study_picture(study_card(row.pk))
    wrong_once = sum(0 < times < 3 for times in wrong.values())
    assert (drawn.count('class="c-again"'), drawn.count("×</text>")) == (wrong_once, 16)
    found = study_card(row.pk).agreement[cast.inspector.name]
    assert found.effectiveness.estimate == pytest.approx(0.84)
    assert found.effectiveness.lower == pytest.approx(0.71, abs=0.0051)
    assert found.miss_rate == pytest.approx(good_bad / 48)
    assert found.false_alarm_rate == pytest.approx(bad_good / 102)


def test_shows_nothing_before_the_last_reading(cast, fixed_now, gauge, client_of):
    row = plan(cast, fixed_now)
    following = next_reading(row.pk, cast.inspector)
    record_reading(by=cast.inspector, study_id=row.pk, place=following.place, value="87.654", at=fixed_now)
    for person in (cast.inspector, cast.second_inspector, cast.metrology):
        for address in (f"/gauges/CA-01/studies/{row.pk}/", "/gauges/CA-01/"):
            assert "87.654" not in client_of(person).get(address).content.decode()
    assert study_card(row.pk).rows == ()


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"parts": 1}, "study_size"),
        ({"trials": 9}, "study_size"),
        ({"badges": ["9999", "1002"]}, "study_people"),
        ({"badges": ["1001", "1001"]}, "study_people"),
        ({"badges": ["1001"]}, "study_size"),
        ({"truth": [True, True, True]}, "study_truth"),
        ({"truth": [True, False]}, "study_truth"),
        ({"lower": Decimal(2), "upper": Decimal(1)}, "study_band"),
        ({"title": ""}, "text_missing"),
        ({"checkpoint": "head angle"}, "study_checkpoint"),
        ({"number": "XX-9"}, "gauge_unknown"),
    ],
)
def test_refuses_a_study_that_tells_nothing(cast, fixed_now, gauge, changes, code):
    assert cast.inspector.badge == "1001"
    assert cast.second_inspector.badge == "1002"
    with refused(code, "gauges"):
        plan(cast, fixed_now, **changes)


def test_refuses_a_reading_out_of_turn(cast, fixed_now, gauge):
    row = plan(cast, fixed_now)
    following = next_reading(row.pk, cast.inspector)
    about = {"study_id": row.pk, "at": fixed_now}
    with refused("study_place", "gauges"):
        record_reading(by=cast.inspector, place=following.place + 1, value="1", **about)
    with refused("study_value", "gauges"):
        record_reading(by=cast.inspector, place=following.place, value="ten", **about)
    with refused("study_not_yours", "gauges"):
        record_reading(by=cast.third_inspector, place=following.place, value="1", **about)
    record_reading(by=cast.inspector, place=following.place, value="1", **about)
    with refused("study_place", "gauges"):  # the same tap twice
        record_reading(by=cast.inspector, place=following.place, value="1", **about)


def test_is_planned_and_read_on_its_pages(cast, gauge, client_of):
    assert (cast.inspector.badge, cast.second_inspector.badge) == ("1001", "1002")
    metrology = client_of(cast.metrology)
    form = {"title": "501 head angle", "badges": "1001, 1002", "parts": "2", "trials": "2", "lower": "", "upper": ""}
    answer = metrology.post("/gauges/CA-01/studies/plan/", form)
    assert answer.status_code == 302
    address = answer.headers["Location"]
    wrong = metrology.post("/gauges/CA-01/studies/plan/", form | {"bad": "7"})
    assert (wrong.status_code, "numbered from 1 to 2" in wrong.content.decode()) == (400, True)
    for person, values in ((cast.inspector, "1234"), (cast.second_inspector, "2345")):
        client = client_of(person)
        for value in values:
            page = client.get(f"{address}read/").content.decode()
            place = page.split('name="place" value="')[1].split('"')[0]
            assert client.post(f"{address}read/", {"place": place, "value": f"{value},5"}).status_code == 302
        twice = client.get(f"{address}read/")
        assert twice.status_code == 302
    page = metrology.get(address).content.decode()
    for text in ("Share of spread", "By average and range", "1.5", "8 of 8 readings"):
        assert text in page
    assert StudyReading.objects.count() == 8
    assert client_of(cast.third_inspector).get(f"{address}read/").status_code == 403


def test_waits_on_the_floor_for_those_who_have_parts_left(cast, fixed_now, gauge, client_of):
    row = plan(cast, fixed_now)
    address = f'href="/gauges/CA-01/studies/{row.pk}/read/"'
    assert address in client_of(cast.inspector).get("/floor/").text
    assert address not in client_of(cast.third_inspector).get("/floor/").text
    page = client_of(cast.inspector).get(f"/gauges/CA-01/studies/{row.pk}/read/").text
    assert "floor.css" in page
    read_all(row, [cast.inspector], fixed_now, lambda person, part, trial: f"{part}.{trial}")
    assert address not in client_of(cast.inspector).get("/floor/").text
    assert address in client_of(cast.second_inspector).get("/floor/").text
