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
