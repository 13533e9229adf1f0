"""The JSON Schema of what a certificate says, made from the sections' own dataclasses (JSON Schema, draft 2020-12).

Inside a version fields are added and nothing else; `docs/certificate-1.schema.json` is the published copy, and a test
fails while the two differ.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import MISSING, fields, is_dataclass
from typing import Any, get_args, get_origin, get_type_hints

from .sections import SECTIONS

SCHEMA_VERSION = 1
DIALECT = "https://json-schema.org/draft/2020-12/schema"
# What certificates did not say when version 1 was published: older ones are whole without it.
ADDED = frozenset(
    {
        "statistics", "materials", "components", "pictures", "drawing", "sample", "Nonconformances.shown",
        "Line.balloon", "Stage.not_applicable", "Identity.logo", "Identity.logo_digest", "Identity.logo_type",
    }
)  # fmt: skip
PLAIN: dict[type, dict[str, Any]] = {
    str: {"type": "string"},
    int: {"type": "integer"},
    bool: {"type": "boolean"},
}


def content_schema() -> dict[str, Any]:
    """The schema of the frozen content; a reader ignores what it does not know."""
    sections = {name: _of(get_type_hints(build)["return"]) for name, build in SECTIONS.items()}
    return {
        "$schema": DIALECT,
        "title": f"What a certificate says, version {SCHEMA_VERSION}",
        "type": "object",
        "properties": sections,
        "required": _required(sections),
    }


def _of(kind: Any) -> dict[str, Any]:
    if kind in PLAIN:
        return dict(PLAIN[kind])
    if get_origin(kind) is tuple:
        return {"type": "array", "items": _of(get_args(kind)[0])}
    if not is_dataclass(kind):
        raise TypeError(f"A section holds {kind}, for which there is no schema.")
    hints, owner = get_type_hints(kind), getattr(kind, "__name__", "")
    properties = {field.name: _of(hints[field.name]) for field in fields(kind)}
    # A field with a default came later: certificates issued before it fit as well.
    lasting = [field.name for field in fields(kind) if field.default is MISSING]
    return {"type": "object", "properties": properties, "required": _required(lasting, f"{owner}.")}


def _required(names: Iterable[str], owner: str = "") -> list[str]:
    return sorted(name for name in names if f"{owner}{name}" not in ADDED)
