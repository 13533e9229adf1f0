"""The rows of a draft as HTML. Built as text: a template takes twenty times as long for 300 rows of 13 cells."""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

from django.utils.safestring import SafeString, mark_safe

from qcapp.lib.spoken import said

from .draft_table import Cell, RowView
from .review_list import ADVICE, REFUSED, WARNING

MINUS = "−"
SAID = {REFUSED: "", WARNING: "Warning:", ADVICE: "Advice:"}


def rows_html(rows: Iterable[RowView]) -> SafeString:
    """The rows as `<tr>` elements; every text in them is escaped."""
    return mark_safe("\n".join(map(_row, rows)))  # noqa: S308 - texts are escaped one by one below


def _row(row: RowView) -> str:
    css = f' class="{"unfinished" if row.unfinished else row.severity}"' if row.severity else ""
    tone = "word near" if row.ratio_small else "quiet"
    return (
        f'<tr id="row-{row.id}" data-row="{row.id}" data-stage="{escape(row.stage)}"{css}>'
        + "".join(map(_cell, row.cells))
        + f'<td class="number {tone}">{escape(row.ratio_short)}</td></tr>'
    )


def _cell(cell: Cell) -> str:
    attributes = [f'class="{_css(cell)}" data-column="{escape(cell.column)}"']
    if cell.shown != cell.text:
        attributes.append(f'data-text="{escape(cell.text)}"')
    if cell.choices:
        attributes.append(f'data-list="{cell.choices}"')
    if cell.problem:
        words = escape(f"{said(SAID[cell.severity])} {said(cell.problem)}".strip())
        attributes.append(f'title="{words}" aria-description="{words}"')
    if not cell.editable:
        attributes.append('aria-readonly="true"')
    shown = escape(cell.shown).replace("-", MINUS) if cell.css.startswith("number") else escape(cell.shown)
    return f'<td role="gridcell" tabindex="-1" {" ".join(attributes)}>{shown}</td>'


def _css(cell: Cell) -> str:
    parts = [cell.css]
    if cell.column == "criticality" and cell.text == "critical":
        parts.append("strong")
    if cell.problem:
        parts.append("wrong" if cell.severity == REFUSED else f"to-look {cell.severity}")
    if not cell.editable:
        parts.append("unused")
    return " ".join(filter(None, parts))
