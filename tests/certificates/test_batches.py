"""Many certificates at once: one refusal list, no double and no missing one, whatever happens to the worker."""

from __future__ import annotations

from typing import Any
from uuid import UUID

import pytest

from qcapp.certificates.batch_queries import batch_state, released_without_certificate
from qcapp.certificates.models import BatchOutcome, BatchUnit, Certificate, CertificateFile
from qcapp.certificates.services import batches, rendering
from qcapp.certificates.services.batches import issue_batch, issue_one, resume
from qcapp.core.errors import NotFound

from ..cast import Cast
from ..factories.certificates import ISSUED_AT, certified, release_unit
from ..factories.inspections import Workshop
from ..unchanged import refused
from .test_releasing import both_at_once

ROOMS = ("certificates", "production", "people")


@pytest.fixture(autouse=True)
def _layout(monkeypatch: pytest.MonkeyPatch, settings: Any, tmp_path: Any) -> None:
    settings.QCAPP_DATA_DIR = tmp_path
    monkeypatch.setattr(rendering, "render", lambda card, at, look=None: b"%PDF of " + card.number.encode())
    monkeypatch.setattr("django.utils.timezone.now", lambda: ISSUED_AT)


@pytest.fixture
def two(ready: Workshop) -> Workshop:
    """One unit released, another still in build."""
    ready.another_unit("FR-200-0148")
    return release_unit(ready)


def asked(workshop: Workshop, *serials: str) -> UUID:
    return issue_batch(by=workshop.cast.quality_manager, serials=serials, at=ISSUED_AT)


@pytest.mark.django_db
def test_issues_what_can_be_issued_and_lists_the_rest(two: Workshop, django_capture_on_commit_callbacks: Any) -> None:
    assert released_without_certificate() == ["FR-200-0147"]
    with django_capture_on_commit_callbacks(execute=True):
        uuid = asked(two, "FR-200-0147", "fr-200-0148", "FR-200-0147")
        assert batch_state(uuid).waiting == 2
    state = batch_state(uuid)
    assert [(line.serial, line.number) for line in state.issued] == [("FR-200-0147", "FR-2026-0001")]
    (no,) = state.refused
    assert (no.serial, no.code) == ("FR-200-0148", "not_released")
    assert (state.waiting, state.done) == (0, 2)
    assert CertificateFile.objects.count() == 1
    assert released_without_certificate() == []


@pytest.mark.django_db
def test_does_nothing_when_a_task_runs_again(two: Workshop) -> None:
    asked(two, "FR-200-0147")
    (row,) = BatchUnit.objects.all()
    for _ in range(3):
        issue_one.call(row.pk)
    assert (Certificate.objects.count(), BatchOutcome.objects.count()) == (1, 1)


@pytest.mark.django_db
@pytest.mark.parametrize("at", ["before the certificate", "before its commit", "before its file"])
def test_leaves_neither_a_double_nor_a_missing_one_when_the_worker_is_killed(
    two: Workshop, monkeypatch: pytest.MonkeyPatch, at: str
) -> None:
    class Killed(BaseException):
        pass

    def killed(*args: Any, **options: Any) -> None:
        raise Killed

    place = {
        "before the certificate": (batches, "issue_certificate"),
        "before its commit": (BatchOutcome.objects, "create"),
        "before its file": (batches, "pdf_bytes"),
    }[at]
    asked(two, "FR-200-0147")
    (row,) = BatchUnit.objects.all()
    with monkeypatch.context() as patch:
        patch.setattr(*place, killed)
        with pytest.raises(Killed):
            issue_one.call(row.pk)
    assert Certificate.objects.count() == BatchOutcome.objects.count() == (at == "before its file")
    assert resume() == (at != "before its file")
    assert Certificate.objects.count() == BatchOutcome.objects.count() == 1


@pytest.mark.django_db(transaction=True)
def test_issues_once_when_two_workers_take_the_same_unit(cast: Cast, settings: Any) -> None:
    settings.TASKS = {"default": {"BACKEND": "django_tasks.backends.dummy.DummyBackend"}}
    workshop = release_unit(Workshop.opened(cast).finish())
    asked(workshop, workshop.serial)
    assert not BatchOutcome.objects.exists()
    (row,) = BatchUnit.objects.all()

    def work() -> str:
        issue_one.call(row.pk)
        return "done"

    assert both_at_once(work, work) == ("done", "done")
    assert Certificate.objects.count() == BatchOutcome.objects.count() == 1


@pytest.mark.django_db
def test_refuses_a_batch_that_is_empty_too_large_unknown_or_not_theirs(
    two: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    with refused("batch_empty", *ROOMS):
        asked(two, " ")
    with refused("serial_unknown", *ROOMS):
        asked(two, "FR-200-0147", "FR-200-9999")
    with refused("not_permitted", *ROOMS):
        issue_batch(by=two.cast.engineer, serials=["FR-200-0147"], at=ISSUED_AT)
    monkeypatch.setattr(batches, "MOST", 1)
    with refused("batch_too_large", *ROOMS):
        asked(two, "FR-200-0147", "FR-200-0148")
    with pytest.raises(NotFound):
        batch_state(UUID(int=0))


@pytest.mark.django_db
def test_leads_from_the_list_to_the_batch(
    two: Workshop, client_of: Any, django_capture_on_commit_callbacks: Any
) -> None:
    client = client_of(two.cast.quality_manager)
    assert 'value="FR-200-0147"' in client.get("/certificates/").text
    assert client.post("/certificates/").status_code == 400
    with django_capture_on_commit_callbacks(execute=True):
        there = client.post("/certificates/", {"serial": ["FR-200-0147", "FR-200-0148"]})["Location"]
    page = client.get(there).text
    assert "2 of 2 done" in page
    assert "1 refused" in page
    assert "looks_again" not in page
    assert "No released unit waits" in client.get("/certificates/").text


@pytest.mark.django_db
def test_leaves_a_unit_alone_that_got_its_certificate_meanwhile(two: Workshop) -> None:
    asked(two, "FR-200-0147")
    certified(two)
    (row,) = BatchUnit.objects.all()
    issue_one.call(row.pk)
    assert BatchOutcome.objects.get().code == "issued_already"
    assert Certificate.objects.count() == 1
