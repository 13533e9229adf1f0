"""The examples of docs/api.md, typed as they stand: one shell, from the sign-in to the certificate's file.

What an example cannot know is put in: the address, secrets, the revision, the times, and what the unit is called.
"""

from __future__ import annotations

import json
import re
import subprocess
from datetime import timedelta
from pathlib import Path

import pytest
from django.utils import timezone

from qcapp.inspections.models import Result, ResultDecision, StageSignOff

from ..cast import PASSWORD, PIN, Cast
from ..factories import inspections as factory
from ..factories.certificates import certified, release_unit
from ..factories.inspections import EVERY_UNIT, Workshop, gauges_at

pytestmark = pytest.mark.django_db(transaction=True)
TEXT = (Path(__file__).resolve().parents[2] / "docs" / "api.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"```sh\n(.*?)```", TEXT, re.DOTALL)
SPOKEN = ('"password": "…"', '"pin": "…"')
# A refusal ends the shell with its body on the screen.
HEAD = 'set -euo pipefail; curl() { command curl --fail-with-body "$@"; echo >&3; }; exec 3>/dev/null; cd "$1"\n'


@pytest.fixture
def workshop(cast: Cast, monkeypatch: pytest.MonkeyPatch) -> Workshop:
    """As of now, because the server takes its own time; with gauges in calibration, and one that is not."""
    now = timezone.now() - timedelta(minutes=5)
    monkeypatch.setattr(factory, "GAUGES", gauges_at(now))
    return Workshop.opened(cast, at=now, plan=EVERY_UNIT)


def put_in(example: str, **changes: str) -> str:
    for old, new in changes.items():
        assert old in example, f"{old} is not in {example}"
        example = example.replace(old, new)
    return example


def signed_in_as(badge: str, address: str) -> str:
    told = {"http://localhost:8000": address, '"1001"': f'"{badge}"', SPOKEN[0]: f'"password": "{PASSWORD}"'}
    return put_in(EXAMPLES[0], **told)


def test_answers_every_example(workshop: Workshop, live_server, tmp_path: Path) -> None:
    overdue = workshop.operation("left_length", gauge="CA-02")
    workshop.send(overdue, *(workshop.operation(key) for key in ("right_length", "tack_look")))
    other = workshop.another_unit("FR-200-0199").finish()
    release_unit(other, at=workshop.at + timedelta(seconds=1))
    card = certified(other, at=workshop.at + timedelta(seconds=2))
    _, send, decide, look, fetch = EXAMPLES
    now = (workshop.at + timedelta(seconds=3)).isoformat()
    times = {"2031-04-30T14:10:05+02:00": now, "2031-04-30T14:10:00+02:00": now}
    script = [
        signed_in_as("1041", live_server.url),
        put_in(decide, **{'"operation": "…"': f'"operation": "{overdue["id"]}"', SPOKEN[1]: f'"pin": "{PIN}"'}),
        signed_in_as("1001", live_server.url),
        put_in(send, **times, **{"01a211ed-00e4-749e-ac80-bf58fc9d0503": str(workshop.revision)}),
        put_in(look, **{SPOKEN[1]: f'"pin": "{PIN}"'}),
        signed_in_as("1041", live_server.url),
        put_in(fetch, **{"FR-2031-0211/1": f"{card.number}/{card.issue}"}),
    ]
    done = subprocess.run(
        ["bash", "-c", HEAD + "\n".join(script), "curl", str(tmp_path)], capture_output=True, text=True
    )
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-2000:]
    assert '"outcome":"applied"' in done.stdout.replace(" ", "")
    assert Result.objects.filter(operation="01a211ed-6943-7158-bfab-77fcaa721a4d").exists()
    assert ResultDecision.objects.count() == StageSignOff.objects.filter(item=workshop.item_id).count() == 1
    assert (tmp_path / "certificate.pdf").read_bytes().startswith(b"%PDF")


def test_has_no_example_that_is_not_typed() -> None:
    assert len(EXAMPLES) == 5
    assert sum(example.count("curl ") for example in EXAMPLES) == TEXT.count("curl -s")
    bodies = re.findall(r"```json\n(.*?)```", TEXT, re.DOTALL)
    assert bodies
    assert all(json.loads(body) for body in bodies)
