"""The table of answers is written past the template language, so what people wrote is escaped there."""

from __future__ import annotations

from datetime import UTC, datetime
from types import SimpleNamespace as Made
from typing import Any

import pytest
from django.utils import translation

from qcapp.history.templatetags.answers import answer_rows

EVIL = '<script>alert("x")</script>'
CARD = {
    "number": 101,
    "key": "head_angle",
    "title": "Head angle",
    "kind": "measured",
    "limits_text": "62 mm",
    "spec": None,
}
ANSWER = {
    "described": "62.0 mm", "outcome": "in_band", "nearest_limit": "", "gauge_number": "CA-01", "person_name": "A B",
    "person_initials": "AB", "recorded_at": datetime(2026, 3, 17, 9, 30, tzinfo=UTC), "round": 1,
}  # fmt: skip


def rows(card: dict[str, Any], answer: dict[str, Any] | None, **state: Any) -> str:
    told = {"state": "answered", "hidden": False, "round": 1} | state
    one = Made(card=Made(**CARD | card), counts=None if answer is None else Made(**ANSWER | answer), **told)
    return str(answer_rows(Made(checkpoints=[one]), "/units/FR-1/values/"))


@pytest.mark.parametrize("name", ["title", "limits_text"])
def test_escapes_what_the_plan_says(name: str) -> None:
    for answer in ({}, None):
        assert "<script" not in rows({name: EVIL}, answer)
        assert "&lt;script&gt;" in rows({name: EVIL}, answer)


@pytest.mark.parametrize("name", ["described", "gauge_number", "person_name", "person_initials"])
@pytest.mark.parametrize("kind", ["measured", "record"])
def test_escapes_what_was_answered_and_by_whom(name: str, kind: str) -> None:
    assert "<script" not in rows({"kind": kind}, {name: EVIL})
    assert "&lt;script&gt;" in rows({"kind": kind}, {name: EVIL})


def test_leads_to_the_value_where_the_family_has_others() -> None:
    assert '<a href="/units/FR-1/values/head_angle/" title="Was it an outlier?">62.0 mm</a>' in rows({}, {})
    assert "<a " not in rows({"kind": "record"}, {})


def test_says_why_there_is_no_answer_in_the_language_of_the_page() -> None:
    assert "kept for the second inspection" in rows({}, None, hidden=True)
    assert "two answers" in rows({}, None, state="in_conflict")
    assert ">open<" in rows({}, None, state="open")
    assert rows({}, None, state="not_due") == ""
    with translation.override("de"):
        assert ">offen<" in rows({}, None, state="open")
        assert "62,0 mm" in rows({}, {})
