"""The loader of the templates: each is kept once in every language that the office speaks.

A template is said again (`worded`) when it is first asked for in a language; after that it costs what an English one
costs. What the catalogue lacks stays English, and `manage.py write_words --check` names it.
"""

from __future__ import annotations

import re
from typing import Any

from django.template.base import Origin
from django.template.loaders import cached

from .spoken import SOURCE, office_words, page_language
from .worded import looked_up, said_again

# They keep the words of their readers elsewhere: the floor's pages and the certificate mark each text, and the other
# papers go to readers whose language nobody chose, so that they are English.
UNTOUCHED = (
    "affected/list_print.html",
    "capture/",
    "certificates/certificate.html",
    "certificates/sections/",
    "components/label.html",
    "floor.html",
    "history/label.html",
    "history/print",
    "improvement/letters.html",
    "nonconformance/papers/",
    "plans/print/",
    "trends/report.html",
)
# What expressions end on that show a label or a sentence of the code; what a person wrote has other names.
# fmt: off
SPOKEN = frozenset({
    "=act", "=button", "=caution", "=effective", "=lead", "=note", "=one.label", "=role", "=rule", "=standing",
    "=text", "=title", "=words", "about", "answer.caution", "answer.limit.note", "answer.limit.sentence",
    "answer.measure", "answer.model", "asked", "base_sentence", "basis", "because", "cause", "change.effect",
    "change.field", "chart.name", "choice_label", "cluster.words", "criticality", "disposition_label",
    "draft.last.said", "due", "effect", "effect_sentence", "end.text", "end.what", "entry.said", "entry.subject",
    "entry.text", "entry.who",
    "error", "errors", "event.role", "event.what", "fact.state", "fact.title", "fact.todo", "fact.words",
    "finding.title", "findings", "found.drift_sentence", "found.summary", "found.why", "frequency", "function",
    "grade_word", "head.label", "headline", "help_text", "how", "kind", "kind.name", "kind.period", "kind.personal",
    "kind.reason", "kind.then", "kind.what", "kind_label", "kind_name", "label", "level.text", "limits_text",
    "line.detail", "line.lot_state", "line.text", "link", "link.text", "meaning", "means_sentence", "message",
    "method", "method_label", "missing_roles", "one.change", "one.held_by", "one.sources", "one.subject",
    "one.word", "paper.cracking", "part.lead", "part.title", "possible", "probability", "problem", "problems",
    "proposal.label", "range_text", "reason", "refusal", "role_name", "row.because", "row.pair.fit.kind",
    "row.role", "row.roles", "row.step", "row.use", "rule", "rule_sentence", "says", "sentence", "setup_label",
    "severity", "source", "source.title", "spread_name", "standing", "state", "state_label", "statistic", "summary",
    "to_label", "to_state", "thing.detail", "todo", "trouble", "unit_state", "verdict", "verdict_sentence",
    "view.share",    "wanted.by", "warning", "what", "when", "why", "word", "words_of", "yield_rule",
})
SPOKEN_IN = {
    "affected/": frozenset({"=join", "=name", "one.detail", "used.thing.detail"}),
    "gauges/due.html": frozenset({"one.name"}),
    "gauges/gauge.html": frozenset({"outcome", "one.outcome"}),
    "health/system.html": frozenset({"=name"}),
    "history/node.html": frozenset({"node.detail"}),
    "history/unit.html": frozenset({"kind.grouper", "plural"}),
    "history/units.html": frozenset({"one.by"}),
    "improvement/": frozenset({"card.opened_by_name"}),
    "plans/limits/answers/": frozenset({"=name", "=short", "=unit"}),
    "trends/distortion.html": frozenset({"=said", "page.refusal"}),
    "trends/watch.html": frozenset({"row.2", "row.3"}),
    "nonconformance/report.html": frozenset({"move.signed"}),
    "messages/": frozenset({"one.text", "message.subject", "message.text", "message.picture.alternative"}),
    "certificates/lot.html": frozenset({"one.title"}),
    "goods/heat.html": frozenset({"one.role", "one.text"}),
    "goods/lot.html": frozenset({"=name"}),
    "plans/limits/page.html": frozenset({"one.title"}),
}
# fmt: on

# Numbers that no filter of ours writes: sums, shares and what a calculator found.
NUMBERS_IN = {
    "improvement/action.html": frozenset({"action.spent"}),
    "improvement/costs.html": frozenset({
        "=actions", "=sum", "=total", "one.material", "one.rate_per_hour", "setting.rate_per_hour",
    }),
    "improvement/seeing.html": frozenset({"=high", "=low", "=share", "row.number", "row.share", "row.together"}),
    "plans/limits/answers/": frozenset({
        "answer.headline", "answer.plan.aql", "answer.width_text", "end.text", "lower_text", "upper_text",
        "row.answer.width_text",
    }),
    "trends/characteristic.html": frozenset({"=expected", "=target"}),
    "trends/watch.html": frozenset({"=number"}),
    "trends/yield.html": frozenset({
        "rolled.high", "rolled.is", "rolled.low", "row.rolled.high", "row.rolled.is", "row.rolled.low",
        "row.share.high", "row.share.is", "row.share.low", "share.high", "share.is", "share.low",
    }),
}  # fmt: skip
# A number rounded for the page, which has to get the decimal mark of the language.
ROUNDED = re.compile(r'\|floatformat:"?-?\d+"?(?!\d|"|\|number)')


class Loader(cached.Loader):
    """Django's cached loader, with a template for each language."""

    def cache_key(self, template_name: str, skip: list[Origin] | None = None) -> str:
        key = super().cache_key(template_name, skip)
        code = page_language()
        return key if code == SOURCE else f"{code} {key}"

    def get_contents(self, origin: Any) -> str:
        source: str = super().get_contents(origin)
        code = page_language()
        return source if code == SOURCE else in_language(code, str(origin.template_name), source)


def in_language(code: str, name: str, source: str) -> str:
    """The source of a template of that name in a language other than English."""
    if name.startswith(UNTOUCHED):
        return source
    texts = office_words(code)
    said = said_again(source, lambda piece: texts.get((name, piece)) or texts.get(("", piece)) or piece)
    names = SPOKEN.union(*(own for start, own in SPOKEN_IN.items() if name.startswith(start)))
    spoken = looked_up(said, names)
    if code == "de":
        spoken = spoken.replace("|lower", "")  # a noun keeps its capital inside a sentence
    for start, shown in NUMBERS_IN.items():
        spoken = looked_up(spoken, shown, "marked") if name.startswith(start) else spoken
    spoken = ROUNDED.sub(r"\g<0>|marked", spoken)
    return spoken.replace('<html lang="en">', f'<html lang="{code}">')
