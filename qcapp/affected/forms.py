"""The rows of a question, the name of a list, and what a hold or a field action is told."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import QueryDict

from .asking import JOINS, MOST_TERMS, SOURCES, Row, Term, Tree, of_rows, read_day, rows_of

SPARE_ROWS = 2
LEAST_ROWS = 3
FIRST = ("with", "without")


class KeepForm(forms.Form):
    name = forms.CharField(label="Name of the list", max_length=120, help_text="What a hold or a letter refers to.")
    ask = forms.CharField(widget=forms.HiddenInput, max_length=2000)


class HoldForm(forms.Form):
    title = forms.CharField(label="What is wrong with them", max_length=120)
    reason = forms.CharField(label="Reason", max_length=600, widget=forms.Textarea(attrs={"rows": 2}))
    severity = forms.ChoiceField(
        label="Severity", choices=[(name, name) for name in ("critical", "major", "minor")], initial="major"
    )


class OwnersForm(forms.Form):
    title = forms.CharField(label="Title of the field action", max_length=160)
    reason = forms.CharField(label="Reason", max_length=500, widget=forms.Textarea(attrs={"rows": 2}))


def tree_of_rows(sent: QueryDict) -> Tree:
    """The question that the rows ask; rows without anything in them are left out. Raises Invalid as `of_rows`."""
    columns = [sent.getlist(name)[:MOST_TERMS] for name in ("join", "by", "value", "from", "to")]
    rows: list[Row] = []
    for place in range(len(columns[1])):
        join, by, value, since, until = (column[place] if place < len(column) else "" for column in columns)
        if by not in SOURCES or not (value.strip() or since.strip() or until.strip()):
            continue
        days = [read_day(day.strip()) if day.strip() else None for day in (since, until)]
        given = value if SOURCES[by].valued else ""
        rows.append(Row(_join(join, first=not rows), Term(by, given, *days)))
    return of_rows(rows)


def _join(word: str, *, first: bool) -> str:
    if first:
        return "and not" if word == "without" or word.endswith("not") else "and"
    return word if word in JOINS else "and"


def rows_shown(tree: Tree | None) -> list[dict[str, Any]]:
    """The rows of the form: those of the question and some empty ones; all empty where it needs brackets."""
    rows = (rows_of(tree) if tree is not None else None) or []
    shown: list[dict[str, Any]] = [_row(row, place) for place, row in enumerate(rows)]
    count = min(MOST_TERMS, max(LEAST_ROWS, len(shown) + SPARE_ROWS))
    while len(shown) < count:
        shown.append({"join": "and" if shown else FIRST[0], "by": "", "value": "", "since": "", "until": ""})
    for place, one in enumerate(shown):
        one["joins"] = JOINS if place else FIRST
        one["number"] = place + 1
    return shown


def _row(row: Row, place: int) -> dict[str, Any]:
    join = row.join if place else FIRST[row.join.endswith("not")]
    days = [day.isoformat() if day else "" for day in (row.term.since, row.term.until)]
    return {"join": join, "by": row.term.source, "value": row.term.value, "since": days[0], "until": days[1]}
