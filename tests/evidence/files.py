"""Made-up uploads."""

from __future__ import annotations

import io

from PIL import Image


def picture(kind: str = "JPEG", size: tuple[int, int] = (60, 40), mode: str = "RGB", **options: object) -> bytes:
    written = io.BytesIO()
    Image.new(mode, size, 120 if mode == "L" else (200, 80, 20, 128)[: len(mode)]).save(written, kind, **options)
    return written.getvalue()


def pdf(pages: int = 1, password: str = "") -> bytes:
    from pypdf import PdfWriter

    writer = PdfWriter()
    for _ in range(pages):
        writer.add_blank_page(width=200, height=200)
    if password:
        writer.encrypt(password, algorithm="RC4-128")
    written = io.BytesIO()
    writer.write(written)
    return written.getvalue()
