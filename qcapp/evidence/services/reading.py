"""What is in an uploaded file, decided by its bytes and never by its name.

Pictures are decoded and written anew: what a camera adds (place, device, hidden previews) and what does not belong
to a picture does not survive that. A PDF is kept as it came, since its bytes are what its issuer vouches for.
"""

from __future__ import annotations

import io
import warnings
from dataclasses import dataclass

import pypdfium2
from PIL import Image, ImageOps

from qcapp.core.errors import Invalid

MEGABYTE = 1_000_000
MOST_BYTES = 20 * MEGABYTE
MOST_PIXELS = 50_000_000  # a phone's largest picture; decoded it takes 200 MB
LONGEST_EDGE = 4096  # kept pictures are made smaller than that: enough to see a pore on a weld
MOST_PAGES = 300
FORMATS = ("JPEG", "PNG", "WEBP")


@dataclass(frozen=True)
class Readable:
    """Bytes that are what they say: media type, file ending, and their size in pixels or pages."""

    content: bytes
    media_type: str
    ending: str
    width: int | None = None
    height: int | None = None
    pages: int | None = None


def picture_of(content: bytes, *, most_pixels: int = MOST_PIXELS, longest_edge: int = LONGEST_EDGE) -> Readable:
    """The picture written anew: turned as the camera held it, at most `longest_edge` pixels long, without its extras.

    A JPEG or WebP becomes a JPEG, a PNG stays a PNG. Raises Invalid `file_too_large`, `file_empty`,
    `picture_not_read` or `picture_too_many_pixels`.
    """
    _measured(content)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)  # the pixels are counted below
        try:
            with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
                _count_pixels(opened, most_pixels)
                return _written_anew(opened, longest_edge)
        except (OSError, ValueError, SyntaxError, EOFError, Image.DecompressionBombError) as error:
            message = "This is no picture that can be read. Send a JPEG, PNG or WebP file."
            raise Invalid("picture_not_read", message) from error


def _count_pixels(opened: Image.Image, most: int) -> None:
    if opened.width * opened.height > most:
        message = (
            f"The picture has {opened.width} × {opened.height} pixels; at most {most // 1_000_000} million are taken. "
            "Save it smaller and send it again."
        )
        raise Invalid("picture_too_many_pixels", message)


def _written_anew(opened: Image.Image, longest_edge: int) -> Readable:
    lossless = opened.format == "PNG"
    if not lossless:
        opened.draft("RGB", (longest_edge, longest_edge))  # a JPEG is decoded at the smaller size at once
    turned = ImageOps.exif_transpose(opened)
    turned.thumbnail((longest_edge, longest_edge))
    clean = turned.convert(_mode(turned, lossless))
    clean.info.clear()
    written = io.BytesIO()
    if lossless:
        clean.save(written, "PNG", optimize=False)
        return Readable(written.getvalue(), "image/png", "png", clean.width, clean.height)
    clean.save(written, "JPEG", quality=88)
    return Readable(written.getvalue(), "image/jpeg", "jpg", clean.width, clean.height)


def _mode(picture: Image.Image, lossless: bool) -> str:
    if picture.mode == "L":
        return "L"
    return "RGBA" if lossless and picture.has_transparency_data else "RGB"


def smaller(content: bytes, edge: int) -> bytes:
    """A kept picture as a JPEG of at most `edge` pixels, for lists."""
    with Image.open(io.BytesIO(content), formats=FORMATS) as opened:
        opened.draft("RGB", (edge, edge))
        opened.thumbnail((edge, edge))
        ground = Image.new("RGB", opened.size, "white")
        alpha = opened.convert("RGBA") if opened.has_transparency_data else None
        ground.paste(opened.convert("RGB"), mask=alpha.getchannel("A") if alpha else None)
    written = io.BytesIO()
    ground.save(written, "JPEG", quality=80)
    return written.getvalue()


def document_of(content: bytes, *, most_pages: int = MOST_PAGES) -> Readable:
    """A PDF as it came. Raises Invalid `file_too_large`, `file_empty`, `document_not_read`, `document_locked` or
    `document_too_long`.
    """
    _measured(content)
    if not content.startswith(b"%PDF-"):
        raise Invalid("document_not_read", "This is no PDF document. Send the PDF file, or a picture of the paper.")
    pages = _pages(content)
    if pages > most_pages:
        message = f"The document has {pages} pages; at most {most_pages} are taken. Send the pages that matter."
        raise Invalid("document_too_long", message)
    return Readable(content, "application/pdf", "pdf", pages=pages)


def _pages(content: bytes) -> int:
    try:
        opened = pypdfium2.PdfDocument(content)
    except pypdfium2.PdfiumError as error:
        if "password" in str(error).lower():
            message = "The document is locked with a password. Save it without one and send it again."
            raise Invalid("document_locked", message) from error
        message = "The PDF document is damaged and cannot be read. Ask its sender for it once more."
        raise Invalid("document_not_read", message) from error
    try:
        return len(opened)
    finally:
        opened.close()


def _measured(content: bytes) -> None:
    if not content:
        raise Invalid("file_empty", "The file is empty; choose it again.")
    if len(content) > MOST_BYTES:
        message = f"The file has {len(content) / MEGABYTE:.0f} MB; at most {MOST_BYTES // MEGABYTE} MB are taken."
        raise Invalid("file_too_large", message)
