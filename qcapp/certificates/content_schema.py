"""The JSON Schema of what a certificate says, made from the sections' own dataclasses (JSON Schema, draft 2020-12).

Inside a version fields are added and nothing else; `docs/certificate-1.schema.json` is the published copy, and a test
fails while the two differ.
"""

from __future__ import annotations

from dataclasses import MISSING, fields, is_dataclass
from typing import Any, get_args, get_origin, get_type_hints

from .sections import SECTIONS

SCHEMA_VERSION = 1
DIALECT = "https://json-schema.org/draft/2020-12/schema"
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
        "required": sorted(sections),
    }


def _of(kind: Any) -> dict[str, Any]:
    if kind in PLAIN:
        return dict(PLAIN[kind])
    if get_origin(kind) is tuple:
        return {"type": "array", "items": _of(get_args(kind)[0])}
    if not is_dataclass(kind):
        raise TypeError(f"A section holds {kind}, for which there is no schema.")
    hints = get_type_hints(kind)
    properties = {field.name: _of(hints[field.name]) for field in fields(kind)}
    # A field with a default came later: certificates issued before it fit as well.
    needed = sorted(field.name for field in fields(kind) if field.default is MISSING)
    return {"type": "object", "properties": properties, "required": needed}
