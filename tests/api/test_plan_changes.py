"""Another plan revision and the units in build, by a program."""

from __future__ import annotations

from typing import Any

import pytest

from ..factories.inspections import PLAN, Workshop, release_plan

pytestmark = pytest.mark.django_db


def released(workshop: Workshop, text: str) -> str:
    return str(release_plan(workshop.cast, family_code="FR-200", letter="E", text=text, at=workshop.at))


def test_moves_a_unit_to_another_revision_as_it_was_shown(workshop: Workshop, api_of: Any) -> None:
    workshop.answer_stage(1)
    workshop.send_one("twist", "0.44")
    uuid = released(workshop, PLAN.replace("max 0.50", "max 0.30"))
    api = api_of(workshop.cast.quality_manager)
    (listed,) = api.get(f"plans/{uuid}/units")["units"]
    assert (listed["serial"], listed["revision_before"], listed["stays"]) == (workshop.serial, "D", "")
    one = api.get(f"plans/{uuid}/units/{workshop.serial}")
    assert [(row["number"], row["becomes"], row["raises_report"]) for row in one["judged_again"]] == [
        (301, "out_of_band", True)
    ]
    done = api.signed(
        f"plans/{uuid}/units", choice="adopt", reason="Drawing changed.", units={workshop.serial: one["covers"]}
    )
    assert api.status == 201
    assert len(done["reports"][workshop.serial]) == 1
    assert api.get(f"plans/{uuid}/units")["units"] == []


def test_refuses_a_choice_about_an_old_preview(workshop: Workshop, api_of: Any) -> None:
    uuid = released(workshop, PLAN.replace("max 0.50", "max 0.30"))
    api = api_of(workshop.cast.quality_manager)
    said = api.signed(f"plans/{uuid}/units", choice="adopt", reason="x", units={workshop.serial: "0" * 64})
    assert (api.status, said["code"]) == (409, "preview_outdated")


def test_tells_which_of_the_coming_units_get_a_sampled_checkpoint(workshop: Workshop, api_of: Any) -> None:
    found = api_of(workshop.cast.engineer).get(f"plans/{workshop.revision}/when")
    assert found["numbers"][0] == 148
    (row,) = found["checkpoints"]
    assert (row["number"], row["when"], row["units"]) == (302, "1 in 5", [151, 156, 161, 166])


def test_takes_a_checkpoint_off_one_unit_signed(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.engineer)
    path = f"units/{workshop.serial}/applicability"
    said = api.signed(path, checkpoint="pores", applies=False, reason="Joint left out by order.")
    assert [row["number"] for row in said["not_applicable"]] == [203]
    assert api.signed(path, checkpoint="pores", applies=False, reason="Again.")["code"] == "already_so"
    assert api.signed(path, checkpoint="pores", applies=True, reason="It is welded.") == {"not_applicable": []}


def test_marks_a_first_article_and_decides_it(workshop: Workshop, api_of: Any) -> None:
    api = api_of(workshop.cast.engineer)
    body = {"serial": workshop.serial, "stage": 1, "cause": "fixture", "about": "fixture TF-03"}
    (one,) = api.post("first-articles/FR-200", body)["first_articles"]
    assert (api.status, one["state"]) == (201, "waits")
    (one,) = api.signed(f"first-articles/FR-200/{one['uuid']}", accepted=False, reason="Twisted.")["first_articles"]
    assert (one["state"], one["reason"]) == ("not accepted", "Twisted.")
    assert api.get("first-articles/FR-200")["first_articles"] == [one]
