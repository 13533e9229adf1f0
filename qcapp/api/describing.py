"""What the description of the API says of every operation: the refusals that any of them may answer with."""

from __future__ import annotations

from typing import Any

REFUSALS = {
    "400": "What was sent cannot be read, or is outside what the field allows.",
    "401": "Nobody is signed in.",
    "403": "Not this person, or not with this secret.",
    "404": "Nothing of that name is known.",
    "409": "A rule of the work stands against it now, or somebody else was first.",
    "413": "The body is larger than it may be.",
    "415": "The body is of another kind than the one declared.",
    "429": "Too many attempts; `retry_at` says when the next one is heard.",
    "503": "The site is being restored or cannot reach its database; try again.",
}
WITHOUT_BODY = frozenset({"413", "415"})


def declare_refusals(result: dict[str, Any], **options: Any) -> dict[str, Any]:
    """Adds each refusal that an operation does not declare itself. A hook of the generator."""
    for operations in result["paths"].values():
        for method, operation in operations.items():
            skipped = WITHOUT_BODY if method in {"get", "delete"} else frozenset()
            for status, words in REFUSALS.items():
                if status not in skipped:
                    operation["responses"].setdefault(status, _refusal(words))
    return result


def _refusal(words: str) -> dict[str, Any]:
    shape = {"$ref": "#/components/schemas/Refusal"}
    return {"description": words, "content": {"application/json": {"schema": shape}}}
