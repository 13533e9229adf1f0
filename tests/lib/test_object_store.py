"""Evidence in an S3-compatible store: kept there alone, compared with its digest, backed up, and refused in words.

The store is moto, a mock of the protocol inside this process: a general-purpose library.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import boto3
import pytest
from botocore.exceptions import EndpointConnectionError
from django.core.management import CommandError, call_command
from moto import mock_aws
from pytest_django import Settings

from qcapp.config.backup.evidence import check_evidence
from qcapp.config.backup.making import make_backup
from qcapp.config.environment import Environment
from qcapp.core.errors import Refused
from qcapp.evidence.models import EvidenceFile
from qcapp.evidence.queries import content
from qcapp.evidence.services import keeping
from qcapp.lib import kept_files
from qcapp.lib.kept_files import keep_bytes, kept_bytes, stored_paths
from tests.cast import FIXED_NOW, Cast
from tests.evidence.files import picture

BUCKET = "evidence-of-a-test"
ADDRESS = f"s3://{BUCKET}/qc?region=us-east-1"
SECRETS = {"QCAPP_EVIDENCE_STORE_KEY": "testing", "QCAPP_EVIDENCE_STORE_SECRET": "testing"}


@pytest.fixture
def bucket(settings: Settings, tmp_path: Path) -> Iterator[Any]:
    """The bucket behind the settings; the data folder is empty."""
    env = Environment({"QCAPP_EVIDENCE_STORE": ADDRESS, **SECRETS})
    store = env.object_store("QCAPP_EVIDENCE_STORE")
    assert not env.problems
    (tmp_path / "data").mkdir()
    settings.QCAPP_DATA_DIR = tmp_path / "data"
    with mock_aws():
        boto3.client("s3", region_name="us-east-1").create_bucket(Bucket=BUCKET)
        settings.STORAGES = {**settings.STORAGES, "evidence": store}
        yield boto3.resource("s3", region_name="us-east-1").Bucket(BUCKET)


def keys(bucket: Any) -> list[str]:
    return [found.key for found in bucket.objects.all()]


def test_keeps_in_the_store_and_nowhere_else(bucket: Any, settings: Settings) -> None:
    digest, path = keep_bytes(b"abc", "txt")
    # FIPS 180-4, example of SHA-256 for "abc"
    assert digest == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    assert keep_bytes(b"abc", "txt") == (digest, path)
    assert keys(bucket) == [f"qc/{path}"]
    assert list(stored_paths()) == [path]
    assert kept_bytes(path, digest, "The file") == b"abc"
    assert list(settings.QCAPP_DATA_DIR.rglob("*")) == []


@pytest.mark.parametrize(("change", "code"), [("altered", "file_altered"), ("gone", "file_missing")])
def test_hands_out_nothing_that_is_not_what_was_kept(bucket: Any, change: str, code: str) -> None:
    digest, path = keep_bytes(b"abc", "txt")
    if change == "gone":
        bucket.Object(f"qc/{path}").delete()
    else:
        bucket.put_object(Key=f"qc/{path}", Body=b"abd")
    with pytest.raises(Refused) as caught:
        kept_bytes(path, digest, "The file")
    assert caught.value.code == code


def test_says_in_words_that_the_store_does_not_answer(bucket: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    digest, path = keep_bytes(b"abc", "txt")
    store = kept_files.evidence_store()

    def silent(*asked: object, **options: object) -> None:
        raise EndpointConnectionError(endpoint_url="https://store.example.com")

    for name in ("exists", "open", "listdir"):
        monkeypatch.setattr(type(store), name, silent)
    for act in (
        lambda: keep_bytes(b"new", "txt"),
        lambda: kept_bytes(path, digest, "It"),
        lambda: list(stored_paths()),
    ):
        with pytest.raises(Refused) as caught:
            act()
        assert caught.value.code == "store_unreachable"


@pytest.mark.django_db
def test_serves_a_photo_from_the_store_and_checks_it(bucket: Any, cast: Cast) -> None:
    card = keeping.keep_picture(by=cast.inspector, content=picture("JPEG"), name="weld.jpg", at=FIXED_NOW)
    row = EvidenceFile.objects.get(uuid=card.uuid)
    assert hashlib.sha256(content(card.uuid)).hexdigest() == row.digest
    report = check_evidence()
    assert (report.checked, report.problems, report.extra) == (1, [], [])
    keep_bytes(b"nobody names this", "txt")
    bucket.put_object(Key=f"qc/{row.path}", Body=b"altered")
    report = check_evidence()
    assert report.problems == [f"{row.path}, named in evidence_evidencefile, was altered."]
    assert len(report.extra) == 1


@pytest.mark.django_db(transaction=True)
def test_takes_what_is_in_the_store_into_a_backup(bucket: Any, cast: Cast, tmp_path: Path) -> None:
    keeping.keep_picture(by=cast.inspector, content=picture("JPEG"), name="weld.jpg", at=FIXED_NOW)
    (path,) = stored_paths()
    (tmp_path / "backups").mkdir()
    manifest = make_backup(target=tmp_path / "backups" / "one", public_keys=[], at=datetime(2026, 3, 17, tzinfo=UTC))
    (kept,) = [each for each in manifest.files if each.path == path]
    assert path.endswith(f"{kept.digest}.jpg")
    assert (tmp_path / "backups" / "one" / "files" / path).is_file()


@pytest.mark.django_db
def test_moves_what_lay_in_the_data_folder(
    bucket: Any, cast: Cast, settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    both, folder = settings.STORAGES, settings.QCAPP_DATA_DIR
    settings.STORAGES = {name: store for name, store in both.items() if name != "evidence"}
    with pytest.raises(CommandError, match="No store is named"):
        call_command("move_evidence")
    card = keeping.keep_picture(by=cast.inspector, content=picture("JPEG"), name="weld.jpg", at=FIXED_NOW)
    row = EvidenceFile.objects.get(uuid=card.uuid)
    settings.STORAGES = both
    whole = content(card.uuid)  # still from the folder
    (folder / row.path).write_bytes(b"altered")
    with pytest.raises(CommandError, match="was altered and stays"):
        call_command("move_evidence")
    (folder / row.path).write_bytes(whole)
    call_command("move_evidence")
    assert "1 files moved" in capsys.readouterr().out
    assert not (folder / row.path).exists()
    assert keys(bucket) == [f"qc/{row.path}"]
    assert content(card.uuid) == whole


@pytest.mark.parametrize("address", ["https://store.example.com/b", "s3://", "s3://b?colour=red"])
def test_complains_about_an_address_that_names_no_store(address: str) -> None:
    env = Environment({"QCAPP_EVIDENCE_STORE": address})
    assert env.object_store("QCAPP_EVIDENCE_STORE") is None
    assert [problem.id for problem in env.problems] == ["qcapp.E018"]


def test_reads_endpoint_region_and_folder_of_an_address() -> None:
    env = Environment({"QCAPP_EVIDENCE_STORE": "s3://b/x/y?endpoint=https://store.example.com:9000&region=eu-1"})
    store = env.object_store("QCAPP_EVIDENCE_STORE")
    assert store
    options = store["OPTIONS"]
    assert (options["bucket_name"], options["location"]) == ("b", "x/y")
    assert (options["endpoint_url"], options["addressing_style"]) == ("https://store.example.com:9000", "path")
    assert env.object_store("QCAPP_OTHER") is None
