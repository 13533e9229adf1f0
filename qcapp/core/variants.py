"""Which order options a unit has, and on which of them a checkpoint is asked.

A unit's variant is a list such as `left; sidecar`. A condition is a list too: `left; right` asks for one of the two,
`not trailer` leaves the units out that have it. An empty condition asks on every unit.
"""

from __future__ import annotations

import re
from functools import lru_cache

from qcapp.core.errors import Invalid

_BETWEEN = re.compile(r"[;,]")
_OPTION = re.compile(r"[^\W_][\w .+/-]{0,39}")
NOT = "not "


def read_options(text: str) -> tuple[str, ...]:
    """The options of a list, in small letters, each once, in the order written."""
    options = (" ".join(part.casefold().split()) for part in _BETWEEN.split(text))
    return tuple(dict.fromkeys(option for option in options if option))


def read_condition(text: str) -> str:
    """The condition as it is stored, `left; not trailer`. Raises Invalid `condition_not_understood`.

    An option begins with a letter or digit and has at most 40 characters; one that is asked for and ruled out in
    the same condition could be due on no unit.
    """
    options = read_options(text)
    names = [option.removeprefix(NOT).strip() for option in options]
    for name in names:
        # A "not" with nothing behind it would read as an option of that name.
        if not _OPTION.fullmatch(name) or name == NOT.strip():
            message = f"“{name}” is no order option; write options such as left; not trailer."
            raise Invalid("condition_not_understood", message)
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice:
        message = f"“{twice}” is asked for and ruled out at once; no unit could have both."
        raise Invalid("condition_not_understood", message)
    return "; ".join(options)


@lru_cache(maxsize=4096)
def asked_on(condition: str, variant: str) -> bool:
    """Whether a unit of this variant meets the condition."""
    if not condition:
        return True
    wanted, has = read_options(condition), set(read_options(variant))
    if any(option.removeprefix(NOT).strip() in has for option in wanted if option.startswith(NOT)):
        return False
    positive = [option for option in wanted if not option.startswith(NOT)]
    return not positive or any(option in has for option in positive)
