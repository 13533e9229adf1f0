"""The loader of the templates: each is kept once in every language that the office speaks.

A template is said again (`worded`) when it is first asked for in a language; after that it costs what an English one
costs. What the catalogue lacks stays English, and `manage.py write_words --check` names it.
"""

from __future__ import annotations

import gettext
from functools import cache
from pathlib import Path
from typing import Any

from django.conf import settings
from django.template.base import Origin
from django.template.loaders import cached

from .spoken import SOURCE, office_language
from .worded import looked_up, said_again

# They keep the words of their readers elsewhere: the floor's pages and the certificate mark each text, and the other
# papers and mails go to readers whose language nobody chose, so that they are English.
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
    "messages/picture_mail.html",
    "nonconformance/papers/",
    "plans/print/",
    "trends/report.html",
)
# What expressions end on that show a label or a sentence of the code; what a person wrote has other names.
# fmt: off
SPOKEN = frozenset({
    "=act", "=button", "=caution", "=effective", "=lead", "=note", "=role", "=rule", "=standing", "=text", "=title",
    "=words", "about", "answer.caution", "answer.limit.note", "answer.limit.sentence", "answer.measure",
    "answer.model", "asked", "base_sentence", "basis", "because", "cause", "change.effect", "change.field",
    "chart.name", "choice_label", "cluster.words", "criticality", "disposition_label", "draft.last.said", "due",
    "effect", "effect_sentence", "end.text", "end.what", "entry.said", "entry.text", "error", "errors",
    "event.role", "event.what", "fact.state", "fact.title", "fact.words", "finding.title", "findings",
    "found.drift_sentence", "found.summary", "found.why", "frequency", "function", "grade_word", "head.label",
    "headline", "help_text", "how", "kind", "kind.name", "kind.period", "kind.personal", "kind.reason", "kind.then",
    "kind_label", "kind_name", "label", "level.text", "limits_text", "line.detail", "line.lot_state", "line.text",
    "link", "link.text", "meaning", "means_sentence", "message", "method", "method_label", "missing_roles",
    "one.change", "one.held_by", "one.sources", "one.subject", "one.word", "paper.cracking", "part.lead",
    "part.title", "possible", "probability", "problem", "problems", "range_text", "reason", "refusal", "role_name",
    "row.because", "row.pair.fit.kind", "row.role", "row.step", "row.use", "rule", "rule_sentence", "says",
    "sentence", "setup_label", "severity", "source", "source.title", "spread_name", "standing", "state",
    "state_label", "statistic", "summary", "to_label", "to_state", "todo", "trouble", "unit_state", "verdict",
    "verdict_sentence", "view.share", "wanted.by", "warning", "what", "when", "why", "word", "words_of",
    "yield_rule",
})
SPOKEN_IN = {
    "messages/": frozenset({"one.text"}),
    "certificates/lot.html": frozenset({"one.title"}),
}
# fmt: on
Key = tuple[str, str]  # the template that the text is for ("" for all) and the English text


class Loader(cached.Loader):
    """Django's cached loader, with a template for each language."""

    def cache_key(self, template_name: str, skip: list[Origin] | None = None) -> str:
        key = super().cache_key(template_name, skip)
        code = office_language()
        return key if code == SOURCE else f"{code} {key}"

    def get_contents(self, origin: Any) -> str:
        source: str = super().get_contents(origin)
        code = office_language()
        return source if code == SOURCE else in_language(code, str(origin.template_name), source)


def in_language(code: str, name: str, source: str) -> str:
    """The source of a template of that name in a language other than English."""
    if name.startswith(UNTOUCHED):
        return source
    texts = office_words(code)
    said = said_again(source, lambda piece: texts.get((name, piece)) or texts.get(("", piece)) or piece)
    spoken = looked_up(said, SPOKEN).replace("|lower", "")  # a German noun keeps its capital inside a sentence
    return spoken.replace('<html lang="en">', f'<html lang="{code}">')


@cache
def office_words(code: str) -> dict[Key, str]:
    """What the catalogues of the office say in a language, compiled by `bash .ci/setup`."""
    return {key: text for file in sorted(catalogues(code).glob("*.mo")) for key, text in words_of_file(file).items()}


def catalogues(code: str) -> Path:
    """The folder of a language's catalogues: a file for each folder of templates, and one for what several share."""
    return Path(settings.LOCALE_PATHS[0]) / code / "office"


def words_of_file(file: Path) -> dict[Key, str]:
    """What one compiled catalogue says."""
    with file.open("rb") as opened:
        texts: Any = gettext.GNUTranslations(opened)._catalog  # type: ignore[attr-defined]  # it offers no list
    found = {}
    for key, text in texts.items():
        if isinstance(key, str) and key:
            template, _, english = key.rpartition("\x04")
            found[template, english] = text
    return found
