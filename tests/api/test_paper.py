"""Results keyed in from paper through the API."""

from __future__ import annotations

import base64
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from tests.evidence.files import pdf
from tests.factories.inspections import SERIAL


@pytest.fixture(autouse=True)
def own_folder(settings, tmp_path: Path) -> None:
    settings.QCAPP_DATA_DIR = tmp_path


def test_keys_a_sheet_in_and_checks_it(cast, api_of, workshop) -> None:
    keyer, checker = api_of(cast.second_inspector), api_of(cast.quality_manager)
    body = {
        "stage": 1, "measured_by": cast.inspector.badge, "name": "stage1.pdf",
        "measured_at": (timezone.now() - timedelta(seconds=1)).isoformat(),
        "content": base64.b64encode(pdf()).decode(),
        "answers": [{"checkpoint": "head_angle", "value": "61.94", "gauge": "AG-01"}],
    }  # fmt: skip
    sheet = keyer.post(f"units/{SERIAL}/paper", body)
    assert (keyer.status, sheet["keyed_by"], sheet["checked_at"]) == (201, cast.second_inspector.name, None)
    assert keyer.signed(f"units/{SERIAL}/paper/{sheet['uuid']}/check")["code"] == "keyed_it_yourself"
    checked = checker.signed(f"units/{SERIAL}/paper/{sheet['uuid']}/check")
    assert checked["checked_by"] == cast.quality_manager.name
    assert checker.get(f"units/{SERIAL}/paper")["sheets"] == [checked]
    wrong = keyer.post(f"units/{SERIAL}/paper", body | {"answers": [{"checkpoint": "head_angle", "value": "steep"}]})
    assert (keyer.status, wrong["code"]) == (400, "paper_not_taken")
