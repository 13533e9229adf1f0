"""The only way in for evidence files.

None of these write to the audit chain: a file means something only with the act that needs it. That act puts the
digest into its own entry.
"""

from __future__ import annotations

import subprocess
import tempfile
from datetime import datetime
from pathlib import PurePosixPath, PureWindowsPath
from typing import TYPE_CHECKING

from django.conf import settings

from qcapp.core.errors import Invalid, Refused
from qcapp.lib.kept_files import keep_bytes
from qcapp.lib.plain_text import shown

from ..models import EvidenceFile
from ..queries import EvidenceCard, card_of
from .reading import Readable, document_of, picture_of

if TYPE_CHECKING:
    from qcapp.people.models import Person

LONGEST_NAME = 120
CHECK_SECONDS = 60


def keep_picture(*, by: Person, content: bytes, name: str, at: datetime) -> EvidenceCard:
    """Keep a photo: JPEG, PNG or WebP by content, written anew. Raises as `picture_of` and `keep_checked`."""
    _asked(content)
    return _kept(by, picture_of(content), name, at)


def keep_pdf(*, by: Person, content: bytes, name: str, at: datetime) -> EvidenceCard:
    """Keep a PDF document as it came. Raises as `document_of` and `keep_checked`."""
    _asked(content)
    return _kept(by, document_of(content), name, at)


def keep_paper(*, by: Person, content: bytes, name: str, at: datetime) -> EvidenceCard:
    """Keep a paper's PDF or its photo, whichever it is: a mill certificate, a scanned sheet."""
    keep = keep_pdf if content.startswith(b"%PDF-") else keep_picture
    return keep(by=by, content=content, name=name, at=at)


def keep_checked(*, by: Person, content: bytes, media_type: str, ending: str, name: str, at: datetime) -> EvidenceCard:
    """Keep bytes that the caller has checked or made itself, a cleaned drawing for example.

    Raises Refused `upload_not_clean` or `upload_not_checked` when the site's own check says so.
    """
    return _kept(by, Readable(content, media_type, ending), name, at)


def _kept(by: Person, found: Readable, name: str, at: datetime) -> EvidenceCard:
    digest, path = keep_bytes(found.content, found.ending)
    row = EvidenceFile.objects.create(
        digest=digest,
        path=path,
        media_type=found.media_type,
        size=len(found.content),
        width=found.width,
        height=found.height,
        pages=found.pages,
        name=own_name(name, found.ending),
        kept_by=by,
        kept_at=at,
    )
    return card_of(row)


def own_name(name: str, ending: str) -> str:
    """The last part of a file's name without what cannot be seen; "file.pdf" for one without a name."""
    last = PurePosixPath(PureWindowsPath(name).name).name
    return shown(last, LONGEST_NAME).strip() or f"file.{ending}"


def _asked(content: bytes) -> None:
    """Have the site's own program look at an upload (QCAPP_UPLOAD_CHECK, a virus scanner for example)."""
    program = settings.QCAPP_UPLOAD_CHECK
    if not program:
        return
    with tempfile.NamedTemporaryFile(prefix="upload-") as file:
        file.write(content)
        file.flush()
        try:
            answer = subprocess.run(  # noqa: S603 - the keeper's program, named in the settings
                [program, file.name], stdin=subprocess.DEVNULL, capture_output=True, timeout=CHECK_SECONDS, check=False
            )
        except (OSError, subprocess.TimeoutExpired) as error:
            message = "The file could not be checked, so it was not taken. Tell the keeper that the upload check fails."
            raise Refused("upload_not_checked", message) from error
    if answer.returncode != 0:
        raise Invalid("upload_not_clean", "The site's upload check refused this file; it was not kept.")
