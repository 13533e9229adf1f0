"""Help on each page, and the guides to read in the browser: the documents as they came with the program."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe
from markdown_it import MarkdownIt

from qcapp.core.errors import NotFound
from qcapp.people.access import signed_in

NAME = re.compile(r"(?:guides/|decisions/)?[a-z0-9-]+")
PICTURE = re.compile(r"[a-z0-9-]+\.png")
LINK = re.compile(r'(<a href=")(?!https?:|#|/)([^"#]+)\.md(#[^"]*)?(")')
IMAGE = re.compile(r'(<img src=")(?:\.\./)?pictures/([a-z0-9-]+\.png")')
GUIDES = (
    ("guides/inspector", "Inspector"), ("guides/quality-manager", "Quality manager"),
    ("guides/customer-service", "Customer service"), ("guides/keeper", "System keeper"), ("tablets", "Tablets"),
    ("glossary", "Glossary"), ("numbers", "How numbers are computed"), ("retention", "Kept and forgotten"),
    ("validation", "Validation"), ("deploy", "Set-up"), ("settings", "Settings"), ("api", "API"),
    ("accessibility", "Accessibility"),
)  # fmt: skip
DOCUMENTS = Path(__file__).resolve().parents[2] / "docs"


@dataclass(frozen=True)
class Help:
    """Two sentences in a language, and the guide that says more ("guides/keeper")."""

    text: str
    language: str
    guide: str


@lru_cache(maxsize=1)
def table() -> dict[str, dict[str, str]]:
    """The rows of help.toml by the name of an address."""
    told = tomllib.loads((Path(__file__).parent / "help.toml").read_text(encoding="utf-8"))
    return {name: row for row in told["page"] for name in row["names"]}


def help_for(name: str, language: str) -> Help | None:
    """The help of a page in this language, else in English: its own, else its room's; None where there is none."""
    row = table().get(name) or table().get(f"{name.partition(':')[0]}:*")
    if row is None:
        return None
    spoken = language if language in row else "en"
    return Help(row[spoken], spoken, row["guide"])


@signed_in
@require_safe
def guide(request: HttpRequest, name: str) -> HttpResponse:
    """One of the documents as a page. Raises NotFound (`guide_unknown`)."""
    title = name.rpartition("/")[2].replace("-", " ")
    return render(request, "guide.html", {"title": title, "text": _page(name), "guides": GUIDES})


@signed_in
@require_safe
def picture(request: HttpRequest, picture: str) -> HttpResponse:
    """A picture of the documents. Raises NotFound (`guide_unknown`)."""
    file = DOCUMENTS / "pictures" / picture
    if not PICTURE.fullmatch(picture) or not file.is_file():
        raise _unknown()
    return HttpResponse(file.read_bytes(), content_type="image/png")


def _page(name: str) -> SafeString:
    file = DOCUMENTS / f"{name}.md"
    if not NAME.fullmatch(name) or not file.is_file():
        raise _unknown()
    text = MarkdownIt("commonmark", {"html": False}).enable("table").render(file.read_text(encoding="utf-8"))
    folder = name.rpartition("/")[0]
    text = LINK.sub(lambda link: f"{link[1]}{_address(folder, link[2])}{link[3] or ''}{link[4]}", text)
    text = IMAGE.sub(lambda image: f"{image[1]}/guide/pictures/{image[2]}", text)
    return mark_safe(text.replace("<table>", '<table class="grid">'))  # noqa: S308 - our own documents, HTML in them off


def _address(folder: str, link: str) -> str:
    """Where a link between documents leads as a page."""
    parts = [part for part in folder.split("/") if part]
    for part in link.split("/"):
        parts = parts[:-1] if part == ".." else parts if part == "." else [*parts, part]
    return f"/guide/{'/'.join(parts)}/"


def _unknown() -> NotFound:
    return NotFound("guide_unknown", "There is no such document here. Open the guides from Help at the foot of a page.")
