"""Template tags of every page: the band's pictures, verdict words, numbers and times."""

from __future__ import annotations

import re
from datetime import date, datetime
from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

from django import template
from django.conf import settings
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import get_language

from qcapp.lib import band_picture
from qcapp.lib.spoken import OTHERS, SOURCE, page_language, said, said_day, said_label, said_number
from qcapp.lib.spoken_drawings import shown_drawing

register = template.Library()
MINUS = "−"
DECIMAL = re.compile(r"(\d)\.(\d)")
SIGN = re.compile(r"(?<![\w\-])-(?=\d)")


@register.simple_tag
def band_mark(
    outcome: str | None, spec: Any = None, nearest: str = "", kind: str = "measured", conflict: bool = False
) -> SafeString:
    """The small mark for an outcome; `spec` (a checkpoint's core spec) tells which limits exist."""
    band = getattr(spec, "band", None)
    lower = band is None or (band.lower is not None and "lower" not in band.natural)
    upper = band is None or band.upper is not None
    svg = band_picture.mark(
        str(outcome or ""), nearest=nearest or "", kind=kind, lower=lower, upper=upper, conflict=conflict, say=said
    )
    return mark_safe(svg)  # noqa: S308 - built from numbers and fixed words, text escaped there


@register.simple_tag
def ruler(
    band: Any, value: Decimal | None = None, outcome: str = "", unit_of_measure: str = "", beside: Any = None
) -> SafeString:
    """The band to scale with the value in it; on the scale of the band `beside` it as well, where there is one."""
    svg = band_picture.ruler(
        lower=band.lower,
        upper=band.upper,
        nominal=band.nominal,
        guard=band.guard,
        natural=frozenset(band.natural),
        value=value,
        outcome=str(outcome or ""),
        unit_of_measure=unit_of_measure,
        beside=(beside.lower, beside.upper, beside.nominal) if beside else None,
    )
    return shown_drawing(svg)


@register.simple_tag
def print_ruler(band: Any, unit_of_measure: str = "", beside: Any = None) -> SafeString:
    """The same for paper: colours and type are written into it, because the PDF's drawings take none from the page."""
    svg = str(ruler(band, unit_of_measure=unit_of_measure, beside=beside))
    for name, attributes in PRINTED.items():
        svg = svg.replace(name, attributes)
    return mark_safe(svg)  # noqa: S308 - as above


@register.simple_tag
def trace(values: list[float], band: Any, outcome: str = "") -> SafeString:
    lower = None if band.lower is None else float(band.lower)
    upper = None if band.upper is None else float(band.upper)
    return shown_drawing(band_picture.trace(values, lower=lower, upper=upper, outcome=str(outcome or "")))


# What each part of a ruler is drawn with on paper.
PRINTED = {
    'class="band"': 'fill="#D9E8E0"',
    'class="guard"': 'fill="none" stroke="#565E66" stroke-width="1"',
    'class="axis"': 'stroke="#565E66" stroke-width="1"',
    'class="tick"': 'stroke="#565E66" stroke-width="1"',
    'class="limit"': 'stroke="#191D21" stroke-width="3"',
    'class="nominal"': 'fill="#191D21"',
    "<text ": '<text font-family="Inter" font-size="20" fill="#191D21" ',
}
INKS = {"in": "#14573A", "near": "#6E4700", "out": "#8C1823", "open": "#8D867A"}


@register.simple_tag
def print_mark(line: dict[str, Any]) -> SafeString:
    """The mark of a certificate's line, its colour written in, because the PDF's drawings take none from the page."""
    svg = band_picture.mark(
        line["outcome"],
        nearest=line["nearest_limit"],
        kind=line["kind"],
        lower=line["has_lower"],
        upper=line["has_upper"],
    )
    return mark_safe(svg.replace("currentColor", INKS[band_picture.tone(line["outcome"])]))  # noqa: S308 - as above


@register.filter
def tone(outcome: str | None) -> str:
    return band_picture.tone(str(outcome or ""))


@register.filter
def verdict(outcome: str | None) -> str:
    """What a page calls an outcome."""
    return said(band_picture.word(str(outcome or "")))


def number(value: object) -> str:
    """A value with a true minus sign; digits, and dashes inside names and serials, as they are."""
    return "" if value is None else SIGN.sub(MINUS, str(value))


@register.filter("number")
def shown_number(value: object) -> str:
    """The same on a page, with the decimal mark of its language."""
    text, code = number(value), page_language()
    built = " (" in text or text in {"conforms", "does not conform"}  # 196.2 mm at 20 °C (measured …), and verdicts
    told = said_label(code, text) if built and code != SOURCE else text
    return said_number(code, told)


@register.filter
def spoken(value: object) -> str:
    """A text with the decimal mark of the page's language, as the floor's scripts write numbers."""
    comma = (get_language() or SOURCE)[:2] in OTHERS
    return DECIMAL.sub(r"\1,\2", str(value)) if comma else str(value)


def site_time(value: datetime) -> datetime:
    return value.astimezone(ZoneInfo(settings.QCAPP_SITE_ZONE))


def day(value: date | datetime | None) -> str:
    """24 Nov 2026, in the site's zone."""
    if value is None:
        return ""
    shown = site_time(value) if isinstance(value, datetime) else value
    return f"{shown.day} {shown:%b %Y}"


@register.filter("day")
def shown_day(value: date | datetime | None) -> str:
    """The same on a page: 24. Nov. 2026 in German."""
    text = day(value)
    return said_day(page_language(), text) if text else ""


@register.filter
def clock(value: datetime | None) -> str:
    """14:10, in the site's zone."""
    return "" if value is None else f"{site_time(value):%H:%M}"


def moment(value: datetime | None) -> str:
    """24 Nov 2026, 14:10."""
    return "" if value is None else f"{day(value)}, {clock(value)}"


@register.filter("moment")
def shown_moment(value: datetime | None) -> str:
    """The same on a page."""
    return "" if value is None else f"{shown_day(value)}, {clock(value)}"


# Where a head of a narrow column may break; browsers do not know these words by themselves.
PARTS = ("Criti-cality", "Nomi-nal", "Kriti-kalität", "Nenn-maß", "Prüf-mittel", "Ein-heit")
SOFT_HYPHEN = "\u00ad"
PARTED = {word.replace("-", ""): word.replace("-", SOFT_HYPHEN) for word in PARTS}


@register.filter
def parted(value: object) -> str:
    """A column's head, which may break inside its word where the column is narrow."""
    return PARTED.get(str(value), str(value))


@register.filter
def words(value: object) -> str:
    """A code such as in_build as words."""
    return said(str(value or "").replace("_", " "))
