"""How a test reads a refusal."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from qcapp.core.errors import QcError


def refusal(code: str, call: Callable[..., Any], *arguments: Any, **named: Any) -> str:
    """The sentence of the refusal with that code; it ends like a sentence."""
    with pytest.raises(QcError) as caught:
        call(*arguments, **named)
    assert caught.value.code == code
    assert caught.value.message.endswith(".")
    return caught.value.message
