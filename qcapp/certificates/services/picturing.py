"""The pictures of a certificate: frozen by digest, read again from what is kept, drawn into the page.

What a page shows is made of the frozen digests alone; bytes that do not have theirs refuse the page.
"""

from __future__ import annotations

import base64
import io
import logging
from pathlib import Path
from typing import Any
from uuid import UUID

from django.conf import settings
from PIL import Image

from qcapp.core.errors import QcError, Refused
from qcapp.evidence.queries import card as evidence_card
from qcapp.evidence.queries import content
from qcapp.evidence.services.reading import picture_of
from qcapp.lib.kept_files import keep_bytes, kept_bytes
from qcapp.plans.balloon_picture import ballooned_svg
from qcapp.plans.cards import Balloon, SheetCard
from qcapp.plans.svg_cleaning import clean_svg

from ..sections.record import NO_LOGO, Logo

log = logging.getLogger("qcapp.certificates")
LARGEST_LOGO = 2_000_000  # bytes of the file that the keeper names
PHOTO_EDGE, LOGO_EDGE = 900, 600  # pixels: 80 mm and 50 mm on paper at 300 dots per inch
QUALITY = 82
Says = dict[str, Any]


def logo_now() -> Logo:
    """The site's logo, kept by digest for what is issued now.

    A logo that is missing, huge or unreadable is left out and said in the log: a unit waits for no picture.
    """
    named = settings.QCAPP_SITE_LOGO
    if not named:
        return NO_LOGO
    try:
        data, media_type, ending = _clean_logo(Path(named))
    except (OSError, QcError, ValueError) as error:
        log.warning("certificates are printed without the logo %s: %s", named, error)
        return NO_LOGO
    digest, path = keep_bytes(data, ending)
    return Logo(path, digest, media_type)


def _clean_logo(file: Path) -> tuple[bytes, str, str]:
    """The logo's bytes without anything but the picture. Raises OSError, ValueError, Invalid."""
    if file.stat().st_size > LARGEST_LOGO:
        raise ValueError(f"it has more than {LARGEST_LOGO // 1_000_000} MB")
    data = file.read_bytes()
    if file.suffix.lower() == ".svg":
        return clean_svg(data).content, "image/svg+xml", "svg"
    return _smaller(picture_of(data).content, LOGO_EDGE, "PNG"), "image/png", "png"


def _smaller(data: bytes, edge: int, kind: str) -> bytes:
    """A picture of at most `edge` pixels; equal input gives equal bytes for one version of the library."""
    output = io.BytesIO()
    with Image.open(io.BytesIO(data)) as picture:
        picture.thumbnail((edge, edge), Image.Resampling.LANCZOS)
        if kind == "JPEG":
            picture.convert("RGB").save(output, kind, quality=QUALITY)
        else:
            picture.convert("RGBA").save(output, kind)
    return output.getvalue()


def with_pictures(says: Says) -> Says:
    """The content with a `source` for each picture, for the page alone. Raises Refused `file_missing`, `file_altered`,
    `picture_altered`.
    """
    identity = says["identity"]
    drawn = {"identity": identity | {"logo_source": _logo(identity)}}
    if says.get("pictures", {}).get("photos"):
        photos = [one | {"source": _photo(one)} for one in says["pictures"]["photos"]]
        drawn["pictures"] = says["pictures"] | {"photos": photos}
    if says.get("drawing", {}).get("sheets"):
        sheets = [one | {"source": _sheet(one), "wide": one["width"] >= one["height"]} for one in _sheets(says)]
        drawn["drawing"] = says["drawing"] | {"sheets": sheets}
    return says | drawn


def _sheets(says: Says) -> list[Says]:
    sheets: list[Says] = says["drawing"]["sheets"]
    return sheets


def _logo(identity: Says) -> str:
    if not identity.get("logo"):
        return ""
    data = kept_bytes(identity["logo"], identity["logo_digest"], "The logo of this certificate")
    return address_of(identity["logo_type"], data)


def _photo(one: Says) -> str:
    return address_of("image/jpeg", _smaller(bytes_of(one), PHOTO_EDGE, "JPEG"))


def _sheet(one: Says) -> str:
    """The sheet with its balloons, as one drawing: in vector where the sheet is."""
    sheet = SheetCard(
        0, UUID(one["file"]), one["drawing"], one["revision"], one["sheet"], one["title"],
        UUID(one["file"]), one["digest"], one["media_type"], one["width"], one["height"],
    )  # fmt: skip
    balloons = [
        (spot["number"], str(spot["number"]), Balloon(sheet, spot["across"], spot["down"])) for spot in one["spots"]
    ]
    svg = ballooned_svg(sheet, balloons, address_of(one["media_type"], bytes_of(one)))
    return address_of("image/svg+xml", svg.encode())


def bytes_of(one: Says) -> bytes:
    """The kept bytes of a frozen picture. Raises Refused `picture_altered` when they are not those that were frozen."""
    kept = evidence_card(UUID(one["file"]))
    if kept.digest != one["digest"]:
        message = f"The picture {kept.name} is not the one that was frozen with this certificate."
        raise Refused("picture_altered", f"{message} Compare the database with a backup.")
    return content(kept.uuid)


def address_of(media_type: str, data: bytes) -> str:
    """A data: address (RFC 2397)."""
    return f"data:{media_type};base64,{base64.b64encode(data).decode()}"
