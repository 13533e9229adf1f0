"""A worker in a process of its own is killed, twice, while it issues certificates: none is doubled, none is missing."""

from __future__ import annotations

import signal
import subprocess
import sys
from datetime import timedelta
from typing import Any

import pytest
from django.conf import settings as own_settings
from django.utils import timezone

from qcapp.audit.queries import check_chain
from qcapp.certificates.models import BatchOutcome, Certificate, CertificateFile
from qcapp.certificates.services.batches import issue_batch, resume
from qcapp.config.benchmarks.real_server import environment

from ..cast import Cast
from ..factories import inspections as factory
from ..factories.certificates import release_unit
from ..factories.inspections import Workshop, gauges_at

pytestmark = pytest.mark.django_db(transaction=True)
IN_QUEUE = {"default": {"BACKEND": "django_tasks_db.DatabaseBackend", "QUEUES": ["default"]}}


def worker(where: str) -> tuple[int, str]:
    """How the worker ended that dies there."""
    told = {"QCAPP_WORKER": "yes", "QCAPP_SIGNING_PASSPHRASE": own_settings.QCAPP_SIGNING_PASSPHRASE}
    done = subprocess.run(
        [sys.executable, "-m", "tests.certificates.dying_worker", where],
        cwd=own_settings.BASE_DIR, env=environment("http://testserver") | told, capture_output=True, text=True,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def test_leaves_no_certificate_doubled_and_none_missing(
    cast: Cast, settings: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = timezone.now()
    monkeypatch.setattr(factory, "GAUGES", gauges_at(now))
    first = Workshop.opened(cast, at=now, plan=factory.EVERY_UNIT)
    units = [release_unit(unit.finish(), at=now) for unit in (first, first.another_unit("FR-200-0148"))]
    settings.TASKS = IN_QUEUE
    issue_batch(by=cast.quality_manager, serials=[unit.serial for unit in units], at=now + timedelta(seconds=1))
    assert worker("outcome")[0] == -signal.SIGKILL
    assert Certificate.objects.count() == BatchOutcome.objects.count() == 0
    assert resume() == 2  # what qcapp-notices does every five minutes
    assert worker("file")[0] == -signal.SIGKILL
    assert Certificate.objects.count() == BatchOutcome.objects.count() == 1
    assert resume() == 1
    code, told = worker("never")
    assert code == 0, told[-2000:]
    assert sorted(one.number.rpartition("-")[2] for one in Certificate.objects.all()) == ["0001", "0002"]
    assert BatchOutcome.objects.filter(code="").count() == 2
    assert CertificateFile.objects.count() >= 1
    assert resume() == 0
    assert check_chain().broken is None
