"""Uploads are what their bytes say, and nothing of a picture but the picture is kept."""

from __future__ import annotations

import io
import struct
import zlib

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from PIL import Image

from qcapp.core.errors import Invalid
from qcapp.evidence.services import reading
from qcapp.evidence.services.reading import document_of, picture_of, smaller
from tests.evidence.files import pdf, picture


def code_of(read, content: bytes, **limits: int) -> str:
    with pytest.raises(Invalid) as caught:
        read(content, **limits)
    assert caught.value.message.endswith(".")
    return caught.value.code


@pytest.mark.parametrize(("kind", "media_type"), [("JPEG", "image/jpeg"), ("PNG", "image/png"), ("WEBP", "image/jpeg")])
def test_reads_a_picture_by_its_bytes(kind: str, media_type: str) -> None:
    found = picture_of(picture(kind))
    assert (found.media_type, found.width, found.height) == (media_type, 60, 40)
    with Image.open(io.BytesIO(found.content)) as again:
        assert again.size == (60, 40)


@pytest.mark.parametrize("mode", ["RGB", "L", "RGBA", "P", "1"])
def test_takes_every_kind_of_png(mode: str) -> None:
    written = io.BytesIO()
    Image.new(mode, (8, 5)).save(written, "PNG")
    assert picture_of(written.getvalue()).width == 8


def test_turns_a_picture_as_the_camera_held_it_and_drops_what_else_it_says() -> None:
    exif = Image.Exif()
    exif[0x0112] = 6  # orientation: a quarter turn. Exif 2.32, table 4
    exif[0x013B] = "somebody's name"
    found = picture_of(picture("JPEG", exif=exif))
    assert (found.width, found.height) == (40, 60)
    assert b"somebody" not in found.content
    with Image.open(io.BytesIO(found.content)) as again:
        assert not again.getexif()


def test_keeps_no_text_of_a_png_and_nothing_behind_its_end() -> None:
    from PIL.PngImagePlugin import PngInfo

    extra = PngInfo()
    extra.add_text("Comment", "<script>hidden</script>")
    found = picture_of(picture("PNG", pnginfo=extra) + b"PK\x03\x04 a second file")
    assert b"hidden" not in found.content
    assert b"second file" not in found.content


def test_makes_a_long_picture_smaller() -> None:
    found = picture_of(picture("PNG", (900, 300)), longest_edge=300)
    assert (found.width, found.height) == (300, 100)


def png_that_claims(width: int, height: int) -> bytes:
    def chunk(kind: bytes, body: bytes) -> bytes:
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"")) + chunk(b"IEND", b"")


def test_refuses_a_picture_of_eighty_megapixels_before_decoding_it() -> None:
    assert code_of(picture_of, png_that_claims(10_000, 8_000)) == "picture_too_many_pixels"
    assert code_of(picture_of, png_that_claims(60_000, 60_000)) in {"picture_too_many_pixels", "picture_not_read"}


def test_refuses_what_is_no_picture() -> None:
    assert code_of(picture_of, b"") == "file_empty"
    assert code_of(picture_of, b"GIF89a not taken") == "picture_not_read"
    assert (
        code_of(picture_of, b"<svg xmlns='http://www.w3.org/2000/svg'><script>1</script></svg>") == "picture_not_read"
    )
    assert code_of(picture_of, picture("PNG", (300, 300))[:200]) == "picture_not_read"
    assert code_of(picture_of, pdf()) == "picture_not_read"


def test_refuses_a_file_above_the_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reading, "MOST_BYTES", 100)
    assert code_of(picture_of, picture()) == "file_too_large"
    assert code_of(document_of, pdf()) == "file_too_large"


@given(st.integers(0, 10**6), st.binary(min_size=1, max_size=8))
@example(0, b"\x00")
def test_reads_or_refuses_a_damaged_picture_and_never_fails(place: int, noise: bytes) -> None:
    whole = picture("JPEG")
    at = place % len(whole)
    expected = {"read", "picture_not_read", "picture_too_many_pixels"}
    assert outcome(whole[:at] + noise + whole[at + len(noise) :]) in expected


def outcome(content: bytes) -> str:
    try:
        picture_of(content)
    except Invalid as refusal:
        return refusal.code
    return "read"


@given(st.binary(max_size=200))
def test_reads_or_refuses_any_bytes(content: bytes) -> None:
    assert code_of(picture_of, content) in {"picture_not_read", "file_empty"}
    assert code_of(document_of, b"%PDF-1.7\n" + content) in {"document_not_read", "document_locked"}


def test_shows_a_small_picture_on_white() -> None:
    small = smaller(picture("PNG", (900, 600), "RGBA"), 300)
    with Image.open(io.BytesIO(small)) as again:
        assert (again.size, again.format) == ((300, 200), "JPEG")


def test_takes_a_document_as_it_came() -> None:
    whole = pdf(3)
    found = document_of(whole)
    assert (found.content, found.pages, found.media_type) == (whole, 3, "application/pdf")


def test_refuses_documents_that_cannot_be_read_or_are_too_long() -> None:
    assert code_of(document_of, pdf(3), most_pages=2) == "document_too_long"
    assert code_of(document_of, pdf(1, "secret")) == "document_locked"
    assert code_of(document_of, b"%PDF-1.7 torn") == "document_not_read"
    assert code_of(document_of, picture()) == "document_not_read"
