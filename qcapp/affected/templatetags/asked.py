"""A question in the words of the page's language."""

from __future__ import annotations

from django import template

from qcapp.affected.asking import read, written
from qcapp.affected.question_words import OTHERS
from qcapp.core.errors import QcError
from qcapp.lib.spoken import page_language

register = template.Library()


@register.filter
def asked(question: str) -> str:
    """The question as the language writes it; one that cannot be read as it was typed."""
    words = OTHERS.get(page_language())
    if not words:
        return question
    try:
        return written(read(question), words)
    except QcError:
        return question
