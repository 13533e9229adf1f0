"""A kept list that leaves the house: CSV, XLSX and PDF. Customers by name for those who may see them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from django.conf import settings

from qcapp.core.errors import NotFound
from qcapp.customers.queries import customer_names
from qcapp.lib.pdf import html_to_pdf
from qcapp.lib.printing import paper as as_paper
from qcapp.lib.tables import CSV, XLSX, Cell, as_csv, as_xlsx

from .answering import AffectedRow
from .queries import ListView

COLUMNS = ("serial", "family", "standing", "in_unit", "on_hold", "place", "order", "shipped_at", "because")
CUSTOMER = ("customer_number", "customer")
ABOUT = ("list", "list_name", "known_at", "question")  # a file that has gone astray says what it answers


def names_in(rows: Iterable[AffectedRow]) -> dict[str, str]:
    """The names of the customers in an answer, by number."""
    return customer_names(row.customer for row in rows if row.customer)


def cells(rows: Iterable[AffectedRow], names: Mapping[str, str] | None) -> list[list[Cell]]:
    """A line for each unit; with `names` the customer stands at its end."""
    lines: list[list[Cell]] = []
    for row in rows:
        line: list[Cell] = [
            row.serial, row.family, row.standing, row.holder, "yes" if row.on_hold else "no", row.place, row.order,
            row.shipped_at, "; ".join(row.because),
        ]  # fmt: skip
        lines.append(line if names is None else [*line, row.customer, names.get(row.customer, "")])
    return lines


def paper(view: ListView, form: str, *, names: bool) -> tuple[bytes, str]:
    """The list as `csv`, `xlsx` or `pdf`, with its media type. Raises NotFound `form_unknown`, and as `html_to_pdf`."""
    known = names_in(view.answer.rows) if names else None
    head = [*COLUMNS, *(CUSTOMER if names else ())]
    card, rows = view.card, cells(view.answer.rows, known)
    about: list[Cell] = [card.number, card.name, card.at, card.question]
    if form == "csv":
        return as_csv([*head, *ABOUT], [[*row, *about] for row in rows]), CSV
    if form == "xlsx":
        facts = [
            *zip(ABOUT, about, strict=True),
            ("asked_by", card.by_name),
            ("units", card.units),
            ("digest", card.digest),
        ]
        return as_xlsx(card.number, head, rows, facts), XLSX
    if form == "pdf":
        return _pdf(view, known), "application/pdf"
    raise NotFound("form_unknown", "A list is got as csv, xlsx or pdf; choose one.")


def _pdf(view: ListView, names: Mapping[str, str] | None) -> bytes:
    rows = [(row, (names or {}).get(row.customer, "")) for row in view.answer.rows]
    context = {
        "view": view, "rows": rows, "names": names is not None, "demonstration": settings.QCAPP_DEMO,
        "site_name": settings.QCAPP_SITE_NAME, "site_place": settings.QCAPP_SITE_PLACE,
    }  # fmt: skip
    html = as_paper("affected/list_print.html", context)
    identifier = f"{view.card.number}-{'names' if names is not None else 'plain'}"
    return html_to_pdf(html, identifier=identifier, created=view.card.at, title=f"{view.card.number} {view.card.name}")
