"""What the printed certificate needs of its language: numbers, dates, words that were frozen in English."""

from __future__ import annotations

import re
from collections.abc import Mapping
from decimal import ROUND_HALF_EVEN, Decimal
from typing import Any

from django import template
from django.utils.translation import get_language, gettext

from qcapp.certificates.choices import TITLES
from qcapp.lib.templatetags.qc import number

register = template.Library()

COMMA = frozenset({"de", "es", "fr"})
POINT = re.compile(r"(?<=\d)\.(?=\d)")
NUMBER = re.compile(r"\d+(?:\.\d+)?")
DAY = re.compile(r"\b(\d{1,2}) (Jan|Feb|Mar|Apr|May|Jun|Jul|Aug|Sep|Oct|Nov|Dec) (\d{4})")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
BETWEEN = re.compile(r"(?<=\d) to (?=[-\u2212+]?\d)")
LIMIT_WORDS = re.compile(r"\b(?:at least|at most|max|min)\b")
FORM = re.compile(r"(serial number|heat number|text) such as (.+)")
DEVIATION = re.compile(
    r"(?i)^(?:flatness|straight(?:ness)?|round(?:ness)?|circularity|cylindricity|parallel(?:ism)?|"
    r"perpendicular(?:ity)?|square(?:ness)?|angularity|run-out|symmetry|concentric(?:ity)?|coaxial(?:ity)?|profile|"
    r"position)(?= )"
)
PROPERTIES = {
    "yield_MPa": "yield, MPa:",
    "ultimate_MPa": "ultimate, MPa:",
    "elongation_2in_pct": "elongation in 2 in, %:",
    "hardness_RB": "hardness, HRB:",
}
INCH = Decimal("25.4")  # exactly, in millimetres: ISO 80000-3, and the international yard and pound agreement of 1959
MORE_DECIMALS = 2  # 0.01 mm is 0.0004 in


@register.filter
def num(value: object) -> str:
    """A value with a true minus sign and the language's decimal mark."""
    text = number(value)
    return POINT.sub(",", text) if get_language() in COMMA else text


@register.filter
def dated(text: str) -> str:
    """A frozen date, 24 Nov 2026, with the month as number where the paper is not in English: 2026-11-24."""
    if get_language() == "en":
        return text
    return DAY.sub(lambda found: f"{found[3]}-{MONTHS.index(found[2]) + 1:02}-{int(found[1]):02}", text)


@register.filter
def said(text: str) -> str:
    """A fixed word or sentence, frozen in English, in the paper's language."""
    return gettext(text) if text else ""


@register.filter
def limited(text: str) -> str:
    """Limits in words, frozen in English: "61.80 to 62.20", "6 tacks at least", "serial number such as FR-200-0001".

    What the plan itself wrote, such as what is counted, stays as the plan wrote it.
    """
    if gettext(text) != text:
        return gettext(text)
    whole = FORM.match(text)
    if whole:
        return f"{gettext(whole[1])} {gettext('such as')} {whole[2]}"
    return LIMIT_WORDS.sub(lambda found: gettext(found[0]), BETWEEN.sub(f" {gettext('to')} ", text))


@register.filter
def noted(text: str) -> str:
    """A limit's notation as the plan has it, "parallel 0.20", its kind of deviation in the paper's language."""
    return DEVIATION.sub(_deviation, num(text))


def _deviation(found: re.Match[str]) -> str:
    """ "Round" alone is a round of inspection; an English paper keeps what the plan wrote."""
    word = found[0].lower()
    return found[0] if get_language() == "en" else gettext("roundness" if word == "round" else word)


@register.filter
def disposed(text: str) -> str:
    """A disposition: "rework, procedure CS-3, 5 inspected again"."""
    return ", ".join(_disposed(part) for part in text.split(", "))


def _disposed(part: str) -> str:
    if part.startswith("procedure "):
        return f"{gettext('procedure')} {part.removeprefix('procedure ')}"
    again = re.fullmatch(r"(\d+) inspected again", part)
    return f"{gettext('inspected again:')} {again[1]}" if again and get_language() != "en" else said(part)


@register.filter
def stated(text: str) -> str:
    """A state with its day: "closed 19 Oct 2026"."""
    day = DAY.search(text)
    if day is None:
        return said(text)
    return f"{said(text[: day.start()].strip())} {dated(day[0])}"


@register.filter
def signed_for(text: str) -> str:
    """What a signature stands under: "Stage 4 Weld inspection", whose name is the plan's, or a fixed word."""
    stage = re.fullmatch(r"Stage (\d+) (.*)", text)
    return f"{gettext('Stage')} {stage[1]} {stage[2]}" if stage else said(text)


@register.filter
def function_of(text: str) -> str:
    """A function: "quality manager, deputy for Rosalind Adeyemi"."""
    role, deputy, name = text.partition(", deputy for ")
    return f"{said(role)}, {gettext('deputy for')} {name}" if deputy else said(text)


@register.filter
def in_issue(text: str) -> str:
    """A certificate by number and issue: "AX-2026-0003, issue 1"."""
    return _numbered(text, "issue", gettext("issue"))


@register.filter
def piece(text: str) -> str:
    """A drawn piece with its value: "13: 612.1", "13: conforms"."""
    name, colon, value = text.partition(": ")
    return f"{name}: {num(said(value))}" if colon else num(text)


@register.filter
def on_sheet(text: str) -> str:
    """Where a balloon stands: "AQ-FR200-02, sheet 1"."""
    return _numbered(text, "sheet", gettext("sheet"))


def _numbered(text: str, word: str, other: str) -> str:
    """What ends with ", issue 1" or the like, with that word in the paper's language."""
    before, mark, number = text.rpartition(f", {word} ")
    return f"{before}, {other} {number}" if mark else text


@register.filter
def seconded(text: str) -> str:
    """Another inspection of a checkpoint, frozen as "second inspection: conforms, 14, 19 Oct 2026 08:18 +02:00"."""
    name, _, rest = text.partition(": ")
    answer, comma, by = rest.partition(", ")
    return f"{gettext(name)}: {gettext(answer)}{comma}{by}" if rest else text


@register.filter
def verdict_word(line: Mapping[str, Any]) -> str:
    """The verdict and the concession that it stands under."""
    permit = line.get("concession", "")
    word = line["verdict"].removesuffix(f", concession {permit}") if permit else line["verdict"]
    return f"{gettext(word)}, {gettext('concession')} {permit}" if permit else gettext(word)


@register.filter
def title_of(identity: Mapping[str, Any]) -> str:
    """The kind of paper, in its language."""
    return gettext(TITLES[identity.get("kind", "conformity")])


@register.filter
def declared(says: Mapping[str, Any]) -> str:
    """The maker's declaration: as frozen in English, and in other languages from the same frozen facts."""
    identity, statement = says["identity"], says["statement"]
    if get_language() == "en":
        return f"{statement['declaration']} {statement['counts']}"
    if identity.get("kind") == "inspection":
        return _declared_of_lot(says)
    facts = {
        "unit": f"{identity['family_name']} {identity['serial']}",
        "plan": f"{identity['family_code']} {identity['plan_revision']}",
        "permits": ", ".join(statement.get("concessions", ())),
        **{name: statement[name] for name in ("due", "conforming", "near_limit", "conceded", "not_due")},
    }
    text = gettext("We declare that %(unit)s conforms to inspection plan %(plan)s and to the documents that it cites.")
    if facts["permits"]:
        text += " " + gettext("Excepted is what these concessions permit: %(permits)s.")
    text += " " + gettext(
        "Checkpoints due and answered: %(due)d; conforming: %(conforming)d, of these near a limit: %(near_limit)d; "
        "under a concession: %(conceded)d; not due on this unit: %(not_due)d."
    )
    return text % facts


@register.filter
def measured(line: Mapping[str, Any], name: str) -> str:
    """A frozen number of a line; in inches where the issue chose them and the plan measures in millimetres."""
    text = str(line[name])
    return num(in_inches(text) if line.get("inches") else text)


def in_inches(text: str) -> str:
    """Every number of a text in millimetres, divided by 25.4 exactly and rounded to two more decimals."""

    def converted(found: re.Match[str]) -> str:
        millimetres = Decimal(found[0])
        places = -int(millimetres.as_tuple().exponent) + MORE_DECIMALS
        return f"{(millimetres / INCH).quantize(Decimal(1).scaleb(-places), ROUND_HALF_EVEN):f}"

    return NUMBER.sub(converted, text)


@register.filter
def interval(text: str) -> str:
    """An index with its interval: numbers as `num`, and the word between them in the paper's language."""
    return num(text).replace(" to ", f" {gettext('to')} ")


@register.filter
def tested(name: str) -> str:
    """A property of a mill certificate in words; an unknown one as it is written."""
    return PROPERTIES.get(name, name.replace("_", " "))


def _declared_of_lot(says: Mapping[str, Any]) -> str:
    identity, sample = says["identity"], says["sample"]
    text = gettext(
        "We certify that lot %(lot)s, %(quantity)d pieces of %(family)s, meets the requirements of inspection plan "
        "%(plan)s and of the documents that it cites. The results are those of our own tests on %(drawn)d pieces drawn "
        "from this lot."
    )
    plan = f"{identity['family_code']} {identity['plan_revision']}"
    facts = {"lot": identity["serial"], "family": identity["family_name"], "plan": plan}
    return text % (facts | {"quantity": sample["quantity"], "drawn": sample["drawn"]})
