"""The rows of the unit's table of answers, written in one go.

A frame has 160 of them: as a part of the template they took half of the time of the whole page.
"""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from django import template
from django.utils.safestring import SafeString, mark_safe

from qcapp.inspections.queries.outliers import SPREAD_KINDS
from qcapp.lib import band_picture
from qcapp.lib.spoken import SOURCE, page_language, said, said_label
from qcapp.lib.templatetags.qc import band_mark, shown_moment, shown_number

if TYPE_CHECKING:
    from qcapp.inspections.queries import AnswerView, CheckpointView, StageView
    from qcapp.plans.queries import CheckpointCard

register = template.Library()


@register.simple_tag
def answer_rows(stage: StageView, address: str) -> SafeString:
    """Every checkpoint of the stage that is due; `address` is that of the unit's values, without the key."""
    due = (one for one in stage.checkpoints if one.state != "not_due")
    rows = (
        f'<tr><td class="quiet">{one.card.number}</td><td>{escape(one.card.title)}</td>'
        f"{_answered(one.card, one.counts, address) if one.counts else _open(one)}</tr>"
        for one in due
    )
    return mark_safe("\n".join(rows))  # noqa: S308 - every text in it is escaped here


def _answered(card: CheckpointCard, answer: AnswerView, address: str) -> str:
    tone = band_picture.tone(answer.outcome)
    return (
        f'<td class="number strong">{_value(card, answer, address)}</td><td>{_limits(card.limits_text)}</td>'
        f'<td class="nowrap">{band_mark(answer.outcome, card.spec, answer.nearest_limit, card.kind)} '
        f'<span class="word {tone}">{escape(said(band_picture.word(answer.outcome)))}</span></td>'
        f"<td>{escape(answer.gauge_number or '')}</td>"
        f'<td title="{escape(answer.person_name)}">{escape(answer.person_initials)}</td>'
        f'<td class="nowrap quiet">{shown_moment(answer.recorded_at)}</td><td>{answer.round}</td>'
    )


def _open(one: CheckpointView) -> str:
    if one.hidden:
        why = said("kept for the second inspection")
    else:
        why = said("two answers") if one.state == "in_conflict" else said("open")
    return (
        f'<td class="number quiet">{escape(why)}</td><td>{_limits(one.card.limits_text)}</td>'
        f"<td>{band_mark('', one.card.spec, kind=one.card.kind)}</td><td></td><td></td><td></td><td>{one.round}</td>"
    )


def _value(card: CheckpointCard, answer: AnswerView, address: str) -> str:
    """The answer; where the family's values can be seen beside it, it leads there."""
    shown = escape(shown_number(answer.described))
    if card.kind not in SPREAD_KINDS:
        return shown
    return f'<a href="{escape(address)}{card.key}/" title="{escape(said("Was it an outlier?"))}">{shown}</a>'


def _limits(text: str) -> str:
    code = page_language()
    return escape(shown_number(text if code == SOURCE else said_label(code, text)))
