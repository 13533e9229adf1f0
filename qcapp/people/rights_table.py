"""The table of rights as it stands in docs/rights.md: acts by role, and addresses by act."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django.urls import URLPattern, URLResolver, get_resolver

from .access import PUBLIC, SIGNED_IN, acts_of_view
from .roles import ACTS, DEPUTIZABLE, Act, Role

CONVERTER = re.compile(r"<(?:\w+:)?(\w+)>")
PLACEHOLDER = re.compile(r"\(\?P<(\w+)>[^)]*\)")
Pattern = URLPattern | URLResolver
METHODS = ("GET", "POST", "PUT", "PATCH", "DELETE")


@dataclass(frozen=True)
class Address:
    """One address, its view, and what the view asks for by method; empty when it says nothing."""

    path: str
    name: str
    view: Callable[..., Any]
    acts: Mapping[str, Act | str]


def addresses(patterns: Iterable[Pattern] | None = None, prefix: str = "/") -> Iterator[Address]:
    """Every address of the product in the order of its URL table; `<serial>` stands for any."""
    for pattern in get_resolver().url_patterns if patterns is None else patterns:
        path = prefix + _readable(str(pattern.pattern))
        if isinstance(pattern, URLResolver):
            yield from addresses(pattern.url_patterns, path)
        else:
            yield Address(path, pattern.name or "", pattern.callback, acts_of_view(pattern.callback))


def as_markdown() -> str:
    """The whole document, from ACTS and the URL table."""
    return "\n".join([*_heading(), *_acts(), "", *_addresses(), ""])


def _readable(route: str) -> str:
    named = PLACEHOLDER.sub(r"<\1>", CONVERTER.sub(r"<\1>", route))
    return named.removeprefix("^").removesuffix("$").removesuffix("\\Z")


def _heading() -> list[str]:
    deputies = ", ".join(role.label for role in Role if role in DEPUTIZABLE)
    return [
        "# Who may do what",
        "",
        "Written by `manage.py write_rights` from `qcapp/people/roles.py` and the URL table; change those.",
        "",
        "A person may have several roles, but never fills two required signatures of one act. No role may",
        "do everything. A deputy has the rights of one role between two dates, both included, and each",
        "signature says for whom. Dates are days where the workshop stands. A role that ends takes its",
        "rights from running sessions at once.",
        "",
        f"Roles that can have a deputy: {deputies}.",
        "",
        "## Acts by role",
        "",
    ]


def _acts() -> list[str]:
    head = [f"| act | {' | '.join(role.label for role in Role)} |", "| --- |" + " :-: |" * len(Role)]
    marks = {act: ["×" if role in roles else "" for role in Role] for act, roles in ACTS.items()}
    return head + [f"| {act.value} | {' | '.join(row)} |" for act, row in marks.items()]


def _addresses() -> list[str]:
    lines = ["## Addresses by act", "", "| address | looking | sending |", "| --- | --- | --- |"]
    for address in addresses():
        looking = _words(address.acts.get("GET"))
        sending = {_words(address.acts.get(method)) for method in METHODS[1:]} - {""}
        lines.append(f"| `{address.path}` | {looking} | {'; '.join(sorted(sending))} |")
    return lines


def _words(act: Act | str | None) -> str:
    if act is None:
        return ""
    return {PUBLIC: "everybody", SIGNED_IN: "whoever has signed in"}.get(str(act), str(act))
