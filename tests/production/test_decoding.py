"""A serial number read from a photo. The codes are drawn by segno and read by zxing-cpp, which share nothing."""

from __future__ import annotations

import io
from typing import Any

import pytest
import segno
from django.core.files.uploadedfile import SimpleUploadedFile
from PIL import Image

from tests.cast import Cast

pytestmark = pytest.mark.django_db


def photo(serial: str, micro: bool = False) -> bytes:
    """A code on a grey plate, turned a little, as a JPEG."""
    drawn = io.BytesIO()
    segno.make(serial, micro=micro).save(drawn, kind="png", scale=6, border=4)
    plate = Image.new("RGB", (900, 700), (150, 150, 145))
    plate.paste(Image.open(drawn).convert("RGB"), (200, 150))
    written = io.BytesIO()
    plate.rotate(7, fillcolor=(150, 150, 145)).save(written, "JPEG", quality=80)
    return written.getvalue()


def send(client: Any, content: bytes) -> Any:
    return client.post("/floor/decode/", {"photo": SimpleUploadedFile("p.jpg", content, "image/jpeg")})


@pytest.mark.parametrize("serial", ["FR-200-0147", "HT-6-0001"])
def test_reads_the_serial_from_a_photo_of_its_code(cast: Cast, client_of: Any, serial: str) -> None:
    assert send(client_of(cast.inspector), photo(serial)).json() == {"text": serial}


def test_says_so_when_there_is_no_code_or_no_picture(cast: Cast, client_of: Any) -> None:
    client = client_of(cast.inspector)
    blank = io.BytesIO()
    Image.new("RGB", (200, 200), "white").save(blank, "PNG")
    assert (send(client, blank.getvalue()).status_code, send(client, blank.getvalue()).json()["code"]) == (
        404,
        "code_not_found",
    )
    assert send(client, b"no picture").json()["code"] == "picture_not_read"
    assert send(client, b"").json()["code"] in ("file_empty", "picture_not_read")


def test_reads_only_for_people_of_the_floor(cast: Cast, client_of: Any) -> None:
    assert send(client_of(cast.customer_service), photo("FR-200-0147")).status_code == 403
