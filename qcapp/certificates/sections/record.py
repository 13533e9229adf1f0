"""What the sections are built from: the unit's standing at issue, and the paper's own numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from qcapp.certificates.choices import Choice

if TYPE_CHECKING:
    from qcapp.certificates.release_checks import Standing


@dataclass(frozen=True)
class Logo:
    """The maker's logo as kept at issue: path below the data folder, digest, media type; empty without one."""

    path: str = ""
    digest: str = ""
    media_type: str = ""


NO_LOGO = Logo()


@dataclass(frozen=True)
class Record:
    """The input of every section. Times are printed in the site's zone with its offset."""

    standing: Standing
    number: str
    issue: int
    issued_at: datetime
    issued_by: str
    change_note: str
    check_address: str
    maker: str
    place: str
    zone: str
    demonstration: bool
    released_at: datetime
    released_by: str
    released_function: str  # "quality manager, deputy for A. Name"
    release_meaning: str
    chain_number: int
    chain_digest: str
    signing_fingerprint: str
    choice: Choice
    marks: Mapping[int, str]  # what stands for a person on a paper without names
    logo: Logo = NO_LOGO

    def mark(self, person_id: int, name: str) -> str:
        """The person's name where names were chosen, else the stamp or badge number."""
        return name if self.choice.names else self.marks.get(person_id, name)

    def moment(self, at: datetime) -> str:
        """24 Nov 2026 14:10 +01:00."""
        local = at.astimezone(ZoneInfo(self.zone))
        offset = f"{local:%z}"
        return f"{local.day} {local:%b %Y %H:%M} {offset[:3]}:{offset[3:]}"

    def day(self, at: datetime) -> str:
        """24 Nov 2026."""
        local = at.astimezone(ZoneInfo(self.zone))
        return f"{local.day} {local:%b %Y}"


def utc_text(at: datetime) -> str:
    """2026-11-24T13:10:00Z, for machines."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"
