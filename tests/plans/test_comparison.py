"""Two revisions side by side."""

from __future__ import annotations

import pytest

from qcapp.plans import queries
from tests.factories.plans import attribute, draft, plan_text


@pytest.fixture
def changes(cast, fixed_now):
    """`changes(old row, new row)`: what a change of the first row is called, field by field."""

    def compare(old, new):
        cards = [draft(cast, fixed_now, plan_text(row), letter=letter) for row, letter in ((old, "A"), (new, "B"))]
        return {
            change.field: (change.before, change.after, change.effect)
            for difference in queries.differences(cards[0].id, cards[1].id)
            for change in difference.fields
        }

    return compare


def test_names_what_was_added_changed_and_removed(cast, fixed_now):
    old = draft(cast, fixed_now, plan_text({}, attribute(102), attribute(103)))
    new = draft(cast, fixed_now, plan_text({"title": "Angle"}, attribute(103), attribute(104)), letter="B")
    found = [(one.change, one.number) for one in queries.differences(old.id, new.id)]
    assert found == [("changed", 101), ("added", 104), ("removed", 102)]
    assert [one.change for one in queries.differences(None, old.id)] == ["added"] * 3
    assert queries.differences(old.id, old.id) == []


def test_moving_a_row_within_its_stage_is_no_change_of_any_checkpoint(cast, fixed_now):
    old = draft(cast, fixed_now, plan_text(attribute(102), attribute(103)))
    new = draft(cast, fixed_now, plan_text(attribute(103), attribute(102)), letter="B")
    assert queries.differences(old.id, new.id) == []
    assert queries.content_digest(old.id) != queries.content_digest(new.id)


@pytest.mark.parametrize(
    ("limits", "effect"),
    [
        ({"limits": "±0.10"}, "tightened"),
        ({"limits": "+0.15/0"}, "tightened"),
        ({"limits": "±0.20"}, "loosened"),
        ({"limits": "max 62.15"}, "loosened"),
        ({"limits": "+0.20/-0.10"}, "moved"),
        ({"nominal": "62.10"}, "moved"),
        ({"limits": "±0°9′"}, "same limits"),
        ({"unit_of_measure": "mm"}, ""),
        ({"limits": "reference", "nominal": None}, ""),
    ],
)
def test_says_in_words_what_became_of_the_limits(changes, limits, effect):
    assert changes({}, limits)["limits"][2] == effect


def test_shows_each_field_before_and_after(changes):
    found = changes(
        {},
        {"second_inspection": "yes", "caution": "Hot.", "setup": "in fixture", "stage_number": "3",
         "readings": "2", "drawing": "AQ-1", "drawing_revision": "B", "gauge_kinds": "caliper",
         "criticality": "major", "frequency": "1 in 5", "joint": "W2", "method": "lens",
         "instruction": "Slowly.", "title": "Angle"},
    )  # fmt: skip
    assert found["second inspection"][:2] == ("no", "yes")
    assert found["set-up"][:2] == ("as it stands", "in fixture")
    assert found["drawing"][:2] == ("", "AQ-1 rev B")
    assert found["gauges"][:2] == ("angle_gauge", "caliper")
    assert set(found) == {
        "stage", "title", "readings", "criticality", "method", "set-up", "gauges", "when",
        "second inspection", "joint", "drawing", "instruction", "caution",
    }  # fmt: skip


def test_a_difference_becomes_plain_values(cast, fixed_now):
    old = draft(cast, fixed_now, plan_text())
    new = draft(cast, fixed_now, plan_text({"limits": "±0.10"}), letter="B")
    assert queries.differences(old.id, new.id)[0].to_json() == {
        "change": "changed",
        "number": 101,
        "key": "head_angle",
        "title": "Head angle",
        "fields": [
            {"field": "limits", "before": "±0.15 (61.85 to 62.15 °)", "after": "±0.10 (61.90 to 62.10 °)",
             "effect": "tightened"},
        ],
    }  # fmt: skip
