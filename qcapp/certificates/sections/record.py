"""What the sections are built from: the unit's standing at issue, and the paper's own numbers."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Protocol
from zoneinfo import ZoneInfo

from qcapp.certificates.choices import Choice

if TYPE_CHECKING:
    from qcapp.certificates.release_checks import Standing
    from qcapp.nonconformance.queries import ConcessionCard


@dataclass(frozen=True)
class Logo:
    """The maker's logo as kept at issue: path below the data folder, digest, media type; empty without one."""

    path: str = ""
    digest: str = ""
    media_type: str = ""


NO_LOGO = Logo()


AS_IS = (
    "number", "issue", "issued_by", "change_note", "check_address", "maker", "place", "zone", "demonstration",
    "chain_number", "chain_digest", "signing_fingerprint",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Head:
    """The paper's own numbers. Times are printed in the site's zone with its offset."""

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
    chain_number: int
    chain_digest: str
    signing_fingerprint: str
    logo: Logo = NO_LOGO

    def moment(self, at: datetime) -> str:
        """24 Nov 2026 14:10 +01:00."""
        local = at.astimezone(ZoneInfo(self.zone))
        offset = f"{local:%z}"
        return f"{local.day} {local:%b %Y %H:%M} {offset[:3]}:{offset[3:]}"

    def day(self, at: datetime) -> str:
        """24 Nov 2026."""
        local = at.astimezone(ZoneInfo(self.zone))
        return f"{local.day} {local:%b %Y}"

    def fields(self) -> dict[str, Any]:
        """Those of the identity section, as printed."""
        return {name: getattr(self, name) for name in AS_IS} | {
            "issued": self.moment(self.issued_at),
            "issued_at": utc_text(self.issued_at),
            "logo": self.logo.path,
            "logo_digest": self.logo.digest,
            "logo_type": self.logo.media_type,
        }


@dataclass(frozen=True, kw_only=True)
class Record(Head):
    """The input of every section of a unit's certificate."""

    standing: Standing
    released_at: datetime
    released_by: str
    released_function: str  # "quality manager, deputy for A. Name"
    release_meaning: str
    choice: Choice
    marks: Mapping[int, str]  # what stands for a person on a paper without names

    @property
    def concessions(self) -> list[ConcessionCard]:
        return self.standing.concessions

    def mark(self, person_id: int, name: str) -> str:
        """The person's name where names were chosen, else the stamp or badge number."""
        return name if self.choice.names else self.marks.get(person_id, name)


class Bench(Protocol):
    """What the lines of results need of a record, a unit's or a lot's."""

    @property
    def concessions(self) -> list[ConcessionCard]: ...

    def mark(self, person_id: int, name: str) -> str: ...

    def moment(self, at: datetime) -> str: ...


def utc_text(at: datetime) -> str:
    """2026-11-24T13:10:00Z, for machines."""
    return f"{at.astimezone(UTC):%Y-%m-%dT%H:%M:%S}Z"


def plain(value: Any) -> Any:
    """Dictionaries and lists in place of everything that holds others."""
    if isinstance(value, dict):
        return {key: plain(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [plain(inner) for inner in value]
    return value
