"""The page that opens a unit: in the office it leads to the unit's history, on a shared tablet to its bench."""

from __future__ import annotations

from typing import Any

import pytest

from qcapp.people.tablet_guard import COOKIE

from ..cast import FIXED_NOW
from ..factories.inspections import Workshop
from ..factories.tablets import enrolled

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("shared", [False, True])
def test_leads_to_what_may_be_opened_there(workshop: Workshop, client_of: Any, shared: bool) -> None:
    client, serial = client_of(workshop.cast.inspector), "FR-200-0911"
    if shared:
        _, client.cookies[COOKIE] = enrolled(workshop.cast.keeper, FIXED_NOW)
    sent = {"family_code": "FR-200", "serial": serial, "order_number": "", "variant": ""}
    answer = client.post("/units/open/", sent)
    assert answer.headers["Location"] == f"/units/{serial}/" + "bench/" * shared
    assert client.get(answer.headers["Location"]).status_code == 200
