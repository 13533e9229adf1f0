"""What an uploaded drawing is: one clean picture for each sheet. Nothing is stored here."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from qcapp.core.errors import Invalid
from qcapp.evidence.services.reading import document_of
from qcapp.lib.pdf_pages import PagePicture, page_pictures

from .svg_cleaning import clean_svg

MOST_BYTES = 20_000_000
MOST_PAGES = 60  # of a document that holds drawings; a manual is not one
MOST_AT_ONCE = 12
SMALL_EDGE = 240  # pixels of a page to choose by
LONGEST_EDGE = 3200  # pixels of a page: A1 at about 95 dots per inch, its lettering can be read when zoomed


@dataclass(frozen=True)
class ReadSheet:
    """One sheet as it is kept; `page` of a document; `left_out` counts what a clean drawing does not hold.

    `media_type` is empty for a picture of pixels that the evidence room still has to read.
    """

    content: bytes
    media_type: str = ""
    ending: str = ""
    width: int = 0
    height: int = 0
    page: int = 0
    left_out: Mapping[str, int] = field(default_factory=dict)


def read_drawing(content: bytes, pages: str = "") -> list[ReadSheet]:
    """The sheets of a PNG, JPEG or SVG file, or of the pages of a PDF, "1, 3-4"; of all of them for an empty text.

    Raises Invalid `file_empty`, `file_too_large`, `pages_unreadable`, `pages_too_many`, `pages_not_drawn` and the
    codes of `clean_svg`.
    """
    if not content:
        raise Invalid("file_empty", "The file is empty; choose it again.")
    if len(content) > MOST_BYTES:
        raise Invalid("file_too_large", f"A drawing has at most {MOST_BYTES // 1_000_000} MB; export it smaller.")
    if content.startswith(b"%PDF-"):
        return _pages(content, pages)
    if _is_svg(content):
        clean = clean_svg(content)
        return [ReadSheet(clean.content, "image/svg+xml", "svg", clean.width, clean.height, 0, clean.left_out)]
    return [ReadSheet(content)]


def _is_svg(content: bytes) -> bool:
    start = content[:2000].lstrip(b"\xef\xbb\xbf\xff\xfe \t\r\n")
    return start.startswith(b"<") or start[1:2] == b"\0"


def _pages(content: bytes, asked: str) -> list[ReadSheet]:
    count = page_count(content)
    pages = pages_asked(asked, count)
    pictures = page_pictures(content, pages, longest_edge=LONGEST_EDGE)
    return [ReadSheet(one.content, "image/png", "png", one.width, one.height, one.page) for one in pictures]


def small_pages(content: bytes) -> list[PagePicture]:
    """Every page of a PDF as a small picture, to choose from before any becomes a sheet; nothing is kept.

    Raises Invalid `not_a_document`, `file_too_large`, `pages_not_drawn` and as `page_count`.
    """
    if not content.startswith(b"%PDF-"):
        raise Invalid("not_a_document", "Only a PDF has pages to choose from; a picture is taken whole.")
    if len(content) > MOST_BYTES:
        raise Invalid("file_too_large", f"A drawing has at most {MOST_BYTES // 1_000_000} MB; export it smaller.")
    return page_pictures(content, range(1, page_count(content) + 1), longest_edge=SMALL_EDGE)


def page_count(content: bytes) -> int:
    """How many pages. Raises Invalid `document_not_read`, `document_locked`, `pages_too_many`."""
    pages = document_of(content).pages or 0
    if not 0 < pages <= MOST_PAGES:
        message = f"The document has {pages} pages; a drawing has at most {MOST_PAGES}. Save its sheets by themselves."
        raise Invalid("pages_too_many", message)
    return pages


def pages_asked(text: str, count: int) -> list[int]:
    """The pages named by "1, 3-4". Raises Invalid `pages_unreadable`, `pages_too_many`."""
    wanted: list[int] = []
    for part in filter(None, (one.strip() for one in text.replace("–", "-").split(","))):
        found = re.fullmatch(r"([0-9]{1,4})(?:\s*-\s*([0-9]{1,4}))?", part)
        first, last = (int(found[1]), int(found[2] or found[1])) if found else (0, 0)
        if not 1 <= first <= last <= count:
            message = f"“{part}” names no page of this document, which has {count}; write for example 1, 3-4."
            raise Invalid("pages_unreadable", message)
        wanted += [page for page in range(first, last + 1) if page not in wanted]
    wanted = wanted or list(range(1, count + 1))
    if len(wanted) > MOST_AT_ONCE:
        message = f"{len(wanted)} pages are asked for; at most {MOST_AT_ONCE} are taken at once. Name the pages."
        raise Invalid("pages_too_many", message)
    return wanted
