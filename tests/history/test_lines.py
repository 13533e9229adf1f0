"""The audit chain's acts as lines of a unit's history."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

import pytest

from qcapp.audit.queries import EntryRow
from qcapp.audit.verbs import Verb
from qcapp.history.lines import MARKS, SENTENCES, of_acts, people_in

AT = datetime(2026, 3, 17, 9, 30, tzinfo=UTC)
NAMES = {"u1": "Ottoline Marsh", "u2": "Casimir Voss", "stage 5": "Alignment"}


def entry(verb: str, payload: dict[str, Any], actor: str = "u1") -> EntryRow:
    return EntryRow(
        number=7, at=AT, verb=verb, actor=actor, subject="unit FR-200-0147", payload=payload, digest="0" * 64
    )


TOLD: list[tuple[Verb, dict[str, Any], str]] = [
    (
        Verb.UNIT_OPENED,
        {"plan": "D", "order_number": "S-1184", "variant": ""},
        "Opened on plan revision D, order S-1184",
    ),
    (Verb.UNIT_OPENED, {"plan": "D", "variant": "left"}, "Opened on plan revision D, left"),
    (Verb.RESULTS_RECORDED, {"results": [["a", "b"]] * 3, "failing": 1}, "3 answers recorded"),
    (Verb.RESULTS_IMPORTED, {"results": [["a", "b"]]}, "1 answer recorded"),
    (Verb.STAGE_SIGNED, {"stage": 5, "answers": 18}, "Stage 5 Alignment signed, 18 answers covered"),
    (Verb.STAGE_SIGNED, {"stage": 6, "answers": 1}, "Stage 6 signed, 1 answer covered"),
    (
        Verb.RESULT_DECIDED,
        {"checkpoint": 503, "about": "near_limit", "accepted": True, "reason": "Far from the bearing."},
        "503 near limit: accepted. Far from the bearing.",
    ),
    (
        Verb.RESULT_DECIDED,
        {"checkpoint": 503, "about": "gauge_overdue", "accepted": False, "reason": "Measure again."},
        "503 gauge overdue: not accepted. Measure again.",
    ),
    (Verb.UNIT_HELD, {"source": "Heat 7K4412", "reason": "In doubt."}, "Put on hold, Heat 7K4412: In doubt."),
    (Verb.UNIT_HOLD_LIFTED, {"source": "Heat 7K4412", "reason": "Tested."}, "Hold of Heat 7K4412 lifted: Tested."),
    (
        Verb.UNIT_WELDED,
        {"welder": "u2", "joints": ["W1", "W2"], "procedure": "WP-3"},
        "W1, W2 welded by Casimir Voss, WP-3",
    ),
    (Verb.UNIT_SCRAPPED, {"report": "NCR-2026-0031"}, "Scrapped by NCR-2026-0031"),
    (Verb.RELEASE_GIVEN, {"role": "quality_manager"}, "Released"),
    (Verb.RELEASE_WITHDRAWN, {"reason": "Dent found."}, "Release withdrawn: Dent found."),
    (
        Verb.UNIT_MARKED,
        {"kind": "vin", "text": "1M8GDM9AXKP042788", "read_back_by": "u2"},
        "VIN 1M8GDM9AXKP042788 stamped, read back by Casimir Voss",
    ),
    (Verb.UNIT_MOVED, {"place": "YARD-2", "name": "yard, row 2"}, "Moved to YARD-2 yard, row 2"),
    (Verb.UNIT_SENT_OUT, {"kind": "heat_treatment", "supplier": "Kiln"}, "Sent out for heat treatment to Kiln"),
    (
        Verb.UNIT_RECEIVED_BACK,
        {"kind": "plating", "delivery": "GR-26-0031", "bake": {"hours": "4", "temperature": "190"}},
        "Received back from plating on GR-26-0031 with its certificate, baked 4 h at 190 °C",
    ),
    (
        Verb.UNIT_RECEIVED_BACK,
        {"kind": "coating", "delivery": "GR-26-0032", "bake": {"hours": "", "temperature": ""}},
        "Received back from coating on GR-26-0032 with its certificate",
    ),
    (
        Verb.UNIT_DISPATCHED,
        {"order": "O-81", "certificate": "FR-2026-0211", "issue": 2},
        "Dispatched, order O-81, certificate FR-2026-0211 issue 2 handed over",
    ),
    (
        Verb.COMPONENT_INSTALLED,
        {"component": "AX-200-0012", "link": "trial_fitted", "place": "CELL-3"},
        "AX-200-0012 trial-fitted, in CELL-3",
    ),
    (Verb.COMPONENT_REMOVED, {"component": "AX-200-0012", "reason": "bush worn"}, "AX-200-0012 removed: bush worn"),
    (
        Verb.MATERIAL_USED,
        {"lot": "TK-200-L0007", "quantity": 14, "use": "main tubes"},
        "Used 14 of lot TK-200-L0007 for main tubes",
    ),
    (Verb.UNIT_PLAN_ADOPTED, {"to": "E", "reason": "tube changed"}, "Adopted plan revision E: tube changed"),
    (
        Verb.UNIT_PLAN_KEPT,
        {"to": "E", "reason": "welded already"},
        "Stays with its plan, although revision E is there: welded already",
    ),
    (
        Verb.UNIT_CHECKPOINT_APPLICABILITY,
        {"checkpoint": 301, "applies": False, "reason": "no left bracket"},
        "Checkpoint 301 does not apply: no left bracket",
    ),
    (
        Verb.UNIT_WITNESSED,
        {"stage": 4, "what": "waived", "whom": "Orchard Cooperative", "note": "photos are enough"},
        "Witness point of stage 4: Orchard Cooperative waived attendance: photos are enough",
    ),
    (Verb.SERVICE_RECORDED, {"kind": "complaint", "text": "pulls left"}, "Complaint: pulls left"),
]


@pytest.mark.parametrize(("verb", "payload", "sentence"), TOLD)
def test_tells_each_act_in_a_sentence(verb: Verb, payload: dict[str, Any], sentence: str) -> None:
    (line,) = of_acts([entry(verb, payload)], NAMES, [])
    assert (line.at, line.text, line.outcome) == (AT, sentence, MARKS.get(verb, ""))


def test_has_a_sentence_for_every_act_whose_subject_is_a_unit() -> None:
    assert {verb for verb, _, _ in TOLD} == set(SENTENCES)
    about_units = {
        verb
        for verb in Verb
        if verb.startswith(
            ("unit.", "results.", "result.", "stage.", "release.", "component.", "material.", "service.")
        )
    }
    assert about_units == set(SENTENCES)


def test_names_who_did_it_and_in_which_role_it_was_signed() -> None:
    lines = of_acts([entry(Verb.RELEASE_GIVEN, {"role": "quality_manager"}), entry(Verb.UNIT_HELD, {}, "")], NAMES, [])
    assert [line.detail for line in lines] == ["Ottoline Marsh · quality manager", ""]


@pytest.mark.parametrize("verb", SENTENCES)
def test_tells_the_act_of_a_payload_that_was_redacted(verb: Verb) -> None:
    (line,) = of_acts([entry(verb, {}, "unknown")], NAMES, [])
    assert line.text
    assert line.detail == ""


def test_tells_an_act_that_it_does_not_know_by_its_verb() -> None:
    (line,) = of_acts([entry("unit.repainted", {})], NAMES, [])
    assert line.text == "Unit repainted"


def test_leaves_out_what_was_decided_about_a_hidden_answer() -> None:
    decided = entry(Verb.RESULT_DECIDED, {"checkpoint": 503, "about": "gauge_overdue", "reason": "0.38 mm is far out."})
    assert of_acts([decided], NAMES, [503]) == []
    assert len(of_acts([decided], NAMES, [504])) == 1


def test_finds_everybody_whom_the_acts_name() -> None:
    acts = [entry(Verb.UNIT_WELDED, {"welder": "u2"}), entry(Verb.UNIT_HELD, {}, ""), entry(Verb.UNIT_OPENED, {})]
    assert people_in(acts) == {"u1", "u2"}
