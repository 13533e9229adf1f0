"""What the tests of messages share."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.messages.kinds import Kind
from qcapp.messages.services import tell
from qcapp.people.models import Person

from ..cast import FIXED_NOW


@pytest.fixture
def told() -> Any:
    """`told(person)`: a message in the person's inbox."""

    def send(to: Person, subject: str = "Something waits", **changes: Any) -> None:
        usual = {"text": "Look at it.", "at": FIXED_NOW, "kind": Kind.REMINDER, "link": "/nonconformances/"}
        tell(to=to, subject=subject, **(usual | changes))

    return send
