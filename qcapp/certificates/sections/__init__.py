"""The sections of a certificate, in the order they are printed.

Each module builds its part from the records, once, at issue: `build(record)` gives a frozen dataclass. What it gives
becomes part of the frozen content; the PDF is rendered from that alone, by the template of the same name.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from typing import Any

from . import (
    cautions,
    components,
    drawing,
    identity,
    materials,
    nonconformances,
    pictures,
    results,
    sample,
    signatures,
    statement,
    statistics,
    welds,
)
from .record import Record, plain

SECTIONS: dict[str, Callable[[Record], Any]] = {
    "identity": identity.build,
    "statement": statement.build,
    "results": results.build,
    "sample": sample.build,
    "statistics": statistics.build,
    "welds": welds.build,
    "materials": materials.build,
    "components": components.build,
    "nonconformances": nonconformances.build,
    "pictures": pictures.build,
    "drawing": drawing.build,
    "cautions": cautions.build,
    "signatures": signatures.build,
}


def content(record: Record) -> dict[str, Any]:
    """Everything the certificate says, as plain values ready for canonical JSON."""
    return {name: plain(asdict(build(record))) for name, build in SECTIONS.items()}
