"""Help on each page, and the guides to read in the browser: the documents as they came with the program."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Collection
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.safestring import SafeString, mark_safe
from django.views.decorators.http import require_safe
from markdown_it import MarkdownIt

from qcapp.core.errors import NotFound
from qcapp.people.access import public, signed_in
from qcapp.people.roles import Role

NAME = re.compile(r"(?:guides/|decisions/)?[a-z0-9-]+")
PICTURE = re.compile(r"[a-z0-9-]+\.png")
LINK = re.compile(r'(<a href=")(?!https?:|#|/)([^"#]+)\.md(#[^"]*)?(")')
HEAD = re.compile(r"<h([1-6])>(.*?)</h\1>")
OTHER = re.compile(r'<a href="(?!https?:|#|/)([^"]+)">(.*?)</a>')
IMAGE = re.compile(r'(<img src=")(?:\.\./)?pictures/([a-z0-9-]+\.png")')
GUIDES = (
    ("guides/inspector", "Inspector, assembler"), ("guides/second-inspector", "Second inspector"),
    ("guides/welder", "Welder"), ("guides/goods-in", "Goods-in, tube shop"), ("guides/dispatch", "Dispatch"),
    ("guides/quality-manager", "Quality manager"), ("guides/engineer", "Design engineer"),
    ("guides/welding-coordinator", "Welding coordinator"), ("guides/metrology", "Metrology"),
    ("guides/customer-service", "Customer service"), ("guides/keeper", "System keeper"),
    ("guides/checking", "Checking a certificate"), ("tablets", "Tablets"), ("glossary", "Glossary"),
    ("numbers", "How numbers are computed"), ("retention", "Kept and forgotten"), ("validation", "Validation"),
    ("deploy", "Set-up"), ("settings", "Settings"), ("api", "API"), ("accessibility", "Accessibility"),
)  # fmt: skip
OF_ROLE = {role: f"guides/{role.value.replace('_', '-')}" for role in Role} | {Role.ASSEMBLER: "guides/inspector"}
OPEN = "guides/checking"  # for whoever holds a certificate, signed in or not
OPEN_PICTURES = ("check.png", "check-file.png")
FILES = {  # that documents show or link to, and a page offers
    "validation-plan.csv": "text/csv; charset=utf-8",
    "growth.svg": "image/svg+xml",
}
DOCUMENTS = Path(__file__).resolve().parents[2] / "docs"


@dataclass(frozen=True)
class Help:
    """Two sentences in a language, and the guide that says more ("guides/keeper")."""

    text: str
    language: str
    guide: str

    @property
    def open(self) -> bool:
        """Whether the guide opens without signing in."""
        return self.guide == OPEN


@lru_cache(maxsize=1)
def table() -> dict[str, dict[str, Any]]:
    """The rows of help.toml by the name of an address."""
    told = tomllib.loads((Path(__file__).parent / "help.toml").read_text(encoding="utf-8"))
    return {name: row for row in told["page"] for name in row["names"]}


def help_for(name: str, language: str, roles: Collection[Role] = ()) -> Help | None:
    """The help of a page in this language, else in English: its own, else its room's; None where there is none."""
    row = _row(name)
    if row is None or "en" not in row:
        return None
    spoken = language if language in row else "en"
    return Help(row[spoken], spoken, guide_for(name, roles))


def guide_for(name: str, roles: Collection[Role] = ()) -> str:
    """The guide of the person who uses the page: of those that tell of it the one of a role held, else the first."""
    row = _row(name) or {"guide": "glossary"}
    told = [row["guide"], *row.get("also", [])]
    own = {OF_ROLE[role] for role in roles}
    return next((one for one in told if one in own), told[0])


def _row(name: str) -> dict[str, Any] | None:
    return table().get(name) or table().get(f"{name.partition(':')[0]}:*")


@signed_in
@require_safe
def guide(request: HttpRequest, name: str) -> HttpResponse:
    """One of the documents as a page. Raises NotFound (`guide_unknown`)."""
    return _shown(request, name, GUIDES)


@public
@require_safe
def open_guide(request: HttpRequest) -> HttpResponse:
    """How a certificate is checked, for everybody; who has signed in gets the other documents beside it."""
    return _shown(request, OPEN, GUIDES if request.user.is_authenticated else ())


def _shown(request: HttpRequest, name: str, guides: tuple[tuple[str, str], ...]) -> HttpResponse:
    title = name.rpartition("/")[2].replace("-", " ")
    return render(request, "guide.html", {"title": title, "text": _page(name), "guides": guides})


@signed_in
@require_safe
def picture(request: HttpRequest, picture: str) -> HttpResponse:
    """A picture of the documents. Raises NotFound (`guide_unknown`)."""
    return _picture(picture)


@public
@require_safe
def open_picture(request: HttpRequest, picture: str) -> HttpResponse:
    """A picture of the guide that everybody may read."""
    return _picture(picture)


def _picture(picture: str) -> HttpResponse:
    file = DOCUMENTS / "pictures" / picture
    if not PICTURE.fullmatch(picture) or not file.is_file():
        raise _unknown()
    return HttpResponse(file.read_bytes(), content_type="image/png")


@signed_in
@require_safe
def document_file(request: HttpRequest, name: str) -> HttpResponse:
    """A file that belongs to a document, such as the plan of the validation protocol."""
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return HttpResponse((DOCUMENTS / name).read_bytes(), content_type=FILES[name], headers=disposition)


def _page(name: str) -> SafeString:
    file = DOCUMENTS / f"{name}.md"
    if not NAME.fullmatch(name) or not file.is_file():
        raise _unknown()
    text = MarkdownIt("commonmark", {"html": False}).enable("table").render(file.read_text(encoding="utf-8"))
    folder = name.rpartition("/")[0]
    text = LINK.sub(lambda link: f"{link[1]}{_address(folder, link[2])}{link[3] or ''}{link[4]}", text)
    text = OTHER.sub(_file_link, text)
    text = HEAD.sub(lambda head: f'<h{head[1]} id="{anchor(head[2])}">{head[2]}</h{head[1]}>', text)
    text = text.replace('<img src="growth.svg"', '<img src="/guide/files/growth.svg"')
    text = IMAGE.sub(lambda image: f"{image[1]}/guide/pictures/{image[2]}", text)
    return mark_safe(text.replace("<table>", '<table class="grid">'))  # noqa: S308 - our own documents, HTML in them off


def anchor(head: str) -> str:
    """The name by which links reach a heading, as the places that show Markdown give it."""
    return re.sub(r"[^\w\- ]", "", re.sub(r"<[^>]+>", "", head).lower()).replace(" ", "-")


def _file_link(link: re.Match[str]) -> str:
    """The way to a file that a page offers; of another, which only the folder of the program has, the words."""
    return f'<a href="/guide/files/{link[1]}">{link[2]}</a>' if link[1] in FILES else link[2]


def _address(folder: str, link: str) -> str:
    """Where a link between documents leads as a page."""
    parts = [part for part in folder.split("/") if part]
    for part in link.split("/"):
        parts = parts[:-1] if part == ".." else parts if part == "." else [*parts, part]
    return f"/guide/{'/'.join(parts)}/"


def _unknown() -> NotFound:
    return NotFound("guide_unknown", "There is no such document here. Open the guides from Help at the foot of a page.")
