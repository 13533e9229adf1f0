"""What an uploaded drawing is, and what is refused before it can cost time or memory."""

from __future__ import annotations

import io
import zlib
from contextlib import suppress

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from qcapp.core.errors import Invalid
from qcapp.evidence.services.reading import picture_of
from qcapp.lib.pdf_pages import page_pictures
from qcapp.plans.drawing_files import pages_asked, read_drawing, small_pages
from tests.evidence.files import pdf, picture

SVG = b'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 4 3"><path d="M0 0h4"/></svg>'


def test_reads_an_svg_also_behind_a_byte_order_mark() -> None:
    for content in (SVG, b"\xef\xbb\xbf" + SVG, b'<?xml version="1.0"?>\n<!-- made by hand -->' + SVG):
        (sheet,) = read_drawing(content)
        assert (sheet.media_type, sheet.width, sheet.height) == ("image/svg+xml", 2000, 1500)


def test_leaves_pictures_of_pixels_to_the_evidence_room() -> None:
    (sheet,) = read_drawing(picture("PNG"))
    assert sheet.media_type == ""


def test_draws_the_pages_of_a_document_that_are_asked_for() -> None:
    sheets = read_drawing(pdf(4), "2, 4")
    assert [(one.page, one.width, one.height) for one in sheets] == [(2, 3200, 3200), (4, 3200, 3200)]
    assert Image.open(io.BytesIO(sheets[0].content)).size == (3200, 3200)


@pytest.mark.parametrize(("text", "pages"), [("", [1, 2, 3]), ("2", [2]), ("3, 1-2, 2", [3, 1, 2]), ("1–2", [1, 2])])
def test_reads_which_pages_are_meant(text: str, pages: list[int]) -> None:
    assert pages_asked(text, 3) == pages


@pytest.mark.parametrize(
    ("make", "pages", "code"),
    [
        (lambda: b"", "", "file_empty"),
        (lambda: b"x" * 20_000_001, "", "file_too_large"),
        (lambda: pdf(300), "1", "pages_too_many"),
        (lambda: pdf(20), "", "pages_too_many"),
        (lambda: pdf(3), "4", "pages_unreadable"),
        (lambda: pdf(3), "2-1", "pages_unreadable"),
        (lambda: pdf(3), "all", "pages_unreadable"),
        (lambda: b"%PDF-1.7 nothing", "", "document_not_read"),
        (lambda: pdf(1, "secret"), "", "document_locked"),
    ],
)
def test_refuses_a_document_with_a_sentence(make, pages: str, code: str) -> None:
    with pytest.raises(Invalid) as caught:
        read_drawing(make(), pages)
    assert caught.value.code == code
    assert caught.value.message.endswith(".")


def huge_png(width: int, height: int) -> bytes:
    """A PNG that says it has so many pixels in a few bytes: a decompression bomb (PNG specification, IHDR and IDAT)."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return len(data).to_bytes(4, "big") + name + data + zlib.crc32(name + data).to_bytes(4, "big")

    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([1, 0, 0, 0, 0])
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(bytes(1000))) + chunk(b"IEND", b"")
    )


@pytest.mark.parametrize(("width", "height"), [(10_000, 8_000), (100_000, 100_000)])
def test_refuses_eighty_megapixels_and_a_decompression_bomb_unread(width: int, height: int) -> None:
    (sheet,) = read_drawing(huge_png(width, height))
    with pytest.raises(Invalid) as caught:
        picture_of(sheet.content)
    assert caught.value.code in ("picture_too_many_pixels", "picture_not_read")


def test_ends_a_drawing_of_pages_that_takes_too_long() -> None:
    with pytest.raises(Invalid) as caught:
        page_pictures(pdf(1), [1], longest_edge=100, time_limit=0.01)
    assert caught.value.code == "pages_not_drawn"


def test_ends_a_drawing_of_pages_that_needs_too_much_memory() -> None:
    with pytest.raises(Invalid) as caught:
        page_pictures(pdf(1), [1], longest_edge=40_000)
    assert caught.value.code == "pages_not_drawn"


@settings(max_examples=60)
@given(st.binary(max_size=300))
def test_reads_any_bytes_without_failing(content: bytes) -> None:
    for start in (b"", b"<svg", b"\x89PNG\r\n\x1a\n", b"%PDF-1.4\n"):
        with suppress(Invalid):
            for sheet in read_drawing(start + content):
                assert sheet.content
                picture_of(sheet.content)


def test_shows_every_page_of_a_document_small_and_keeps_nothing() -> None:
    pages = small_pages(pdf(3))
    assert [(one.page, one.width, one.height) for one in pages] == [(1, 240, 240), (2, 240, 240), (3, 240, 240)]
    assert Image.open(io.BytesIO(pages[2].content)).size == (240, 240)


@pytest.mark.parametrize(
    ("make", "code"),
    [
        (lambda: pdf(300), "pages_too_many"),
        (lambda: picture("PNG"), "not_a_document"),
        (lambda: b"", "not_a_document"),
        (lambda: b"%PDF-" + b"x" * 20_000_000, "file_too_large"),
        (lambda: pdf(1, "secret"), "document_locked"),
    ],
)
def test_shows_no_pages_of_what_is_too_large_or_none(make, code: str) -> None:
    with pytest.raises(Invalid) as caught:
        small_pages(make())
    assert caught.value.code == code
