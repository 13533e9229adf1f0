"""The month's report as a PDF: the same sentences and the same drawings as on the pages."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from django.conf import settings
from django.utils.safestring import mark_safe

from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import paper

from .capability import TARGET
from .pictures.inks import painted
from .pictures.small import small_picture
from .readings import RULE
from .yielding import RULE as YIELD_RULE

if TYPE_CHECKING:
    from .queries.reporting import MonthReport


def report_html(report: MonthReport) -> str:
    """The page that the PDF is laid out from."""
    shown = [(entry, mark_safe(painted(small_picture(entry)))) for entry in report.to_look_at]  # noqa: S308 - our own
    found = report.yields.found
    context = {
        "report": report,
        "shown": shown,
        "found": found,
        "rule": RULE,
        "yield_rule": YIELD_RULE,
        "target": TARGET,
        "maker": settings.QCAPP_SITE_NAME,
        "demonstration": settings.QCAPP_DEMO,
    }
    return paper("trends/report.html", context)


def report_pdf(report: MonthReport) -> bytes:
    """The report; equal records give equal bytes. Raises `PdfNotMade`."""
    html = report_html(report)
    title = f"Report of {report.family.code}, {report.name}"
    identifier = hashlib.sha256(html.encode()).hexdigest()[:32]
    return html_to_pdf(html, identifier=identifier, created=report.until, title=title, variant="pdf/ua-1")
