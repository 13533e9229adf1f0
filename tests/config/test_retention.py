"""What is kept about people, who gets it, and how it is forgotten without breaking the audit chain."""

from __future__ import annotations

import io
import json
import stat
import zipfile
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, connection, transaction
from django.test import Client
from pytest_django import Settings

from qcapp.audit.models import Entry, Payload
from qcapp.audit.queries import check_chain, entries_about, redactions
from qcapp.audit.services import record
from qcapp.audit.verbs import Verb
from qcapp.config.backup.folder import OldFolder
from qcapp.config.backup.making import make_backup
from qcapp.config.backup.verifying import verify
from qcapp.config.retention.anonymising import GONE, anonymise_person
from qcapp.config.retention.exporting import SECRETS, export_person, naming
from qcapp.config.retention.kinds import kinds
from qcapp.core.sealing import Break
from qcapp.lib.guards import lifted
from qcapp.messages.models import Message
from qcapp.messages.services import tell
from qcapp.people import services
from qcapp.people.models import Attempts, Person, SecondFactor
from qcapp.people.queries import names_kept_until
from tests.cast import FIXED_NOW, Cast
from tests.unchanged import refused

REPOSITORY = Path(__file__).resolve().parents[2]
LATER = datetime(2036, 3, 18, 9, tzinfo=UTC)  # the day after ten years
ADDRESS = "violet.hask@example.com"
ClientOf = Callable[..., Client]


pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def data_folder(settings: Settings, tmp_path: Path) -> Path:
    folder = tmp_path / "data"
    folder.mkdir()
    settings.QCAPP_DATA_DIR = folder
    return folder


@pytest.fixture
def gone(cast: Cast) -> Person:
    """Somebody with a name, a former name, an address and messages, who left at FIXED_NOW."""
    keeper = cast.keeper
    person = services.add_person(
        by=keeper, badge="3001", name="Violet Hask", initials="VH", email=ADDRESS, at=FIXED_NOW - timedelta(days=900)
    )
    services.change_person(by=keeper, person=person, name="Violet Ambry", initials="VA", email=ADDRESS, at=FIXED_NOW)
    with transaction.atomic():
        payload = {"said": ["Ask Violet Hask, not Violet Haskin.", {"seen": "VIOLET AMBRY"}], "count": 2}
        record(verb=Verb.REPORT_RAISED, actor=person.uuid, subject="report X", at=FIXED_NOW, payload=payload)
        tell(to=person, subject="A thing to do", text="Look at it.", at=FIXED_NOW)
    SecondFactor.objects.create(person=person, sealed_secret="sealed", begun_at=FIXED_NOW)
    services.mark_left(by=keeper, person=person, at=FIXED_NOW)
    return person


def test_forgets_the_name_and_keeps_the_badge(gone: Person) -> None:
    anonymise_person(gone, LATER)
    row = Person.objects.get(pk=gone.pk)
    assert (row.name, row.initials, row.email, row.badge) == ("Person 3001", "–", "", "3001")
    assert not row.has_usable_password()
    assert (row.pin, row.second_factor_at, row.anonymised_at) == ("", None, LATER)
    assert not SecondFactor.objects.filter(person=row).exists()
    assert not Message.objects.filter(to=row).exists()


def test_leaves_no_name_in_the_chain_which_still_holds(gone: Person) -> None:
    before = dict(Entry.objects.values_list("number", "digest"))
    assert anonymise_person(gone, LATER) == 3  # added, changed, and the report that speaks of the person
    report = check_chain()
    assert report.holds, report
    assert {number: Entry.objects.get(number=number).digest for number in before} == before
    text = "\n".join(Payload.objects.values_list("body", flat=True))
    for word in ("Violet Hask,", "Violet Ambry", "VIOLET AMBRY", ADDRESS, '"VH"'):
        assert word not in text
    assert f"Ask {GONE}, not Violet Haskin." in text  # another name that only begins so
    assert entries_about("person 3001")[0].verb == "person.anonymised"


def test_finds_a_payload_that_no_entry_says_was_redacted(gone: Person) -> None:
    anonymise_person(gone, LATER)
    number = Entry.objects.get(verb=Verb.REPORT_RAISED).number
    with connection.cursor() as cursor, pytest.raises(DatabaseError), transaction.atomic():
        cursor.execute("UPDATE audit_payload SET body = '{}'")  # the guard stands again
    key = Entry.objects.get(number=number).pk
    with lifted("a test plays the intruder", ["audit_payload"]), connection.cursor() as cursor:
        cursor.execute("UPDATE audit_payload SET body = %s WHERE entry_id = %s", ['{"said":"nothing"}', key])
    found = check_chain()
    assert found.broken
    assert (found.broken.number, found.broken.reason) == (number, Break.ALTERED)


def test_lets_no_redaction_speak_for_itself_or_for_a_later_entry(cast: Cast) -> None:
    """An entry that names its own number, or a later one, excuses nothing."""
    with transaction.atomic():
        number = record(verb=Verb.UNIT_OPENED, actor=None, subject="unit A", at=FIXED_NOW, payload={"a": 1})
    with transaction.atomic():
        told = {"payloads": {str(number + 2): "0" * 64, str(number + 1): "0" * 64}, "reason": "none"}
        record(verb=Verb.PAYLOADS_REDACTED, actor=None, subject="audit", at=FIXED_NOW, payload=told)
    assert redactions() == {}


def test_finishes_what_stopped_between_the_two_steps(gone: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(**told: object) -> None:
        raise OSError("the plug was pulled")

    with monkeypatch.context() as patched:
        patched.setattr("qcapp.config.retention.anonymising.anonymise", fails)
        with pytest.raises(OSError, match="plug"):
            anonymise_person(gone, LATER)
    assert check_chain().holds
    anonymise_person(Person.objects.get(pk=gone.pk), LATER)
    assert check_chain().holds
    assert Person.objects.get(pk=gone.pk).name == "Person 3001"


@pytest.mark.parametrize(
    ("code", "at"),
    [("names_still_kept", FIXED_NOW), ("names_still_kept", LATER - timedelta(days=1)), ("already_anonymised", LATER)],
)
def test_refuses_before_the_period_is_over_and_twice(gone: Person, code: str, at: datetime) -> None:
    if code == "already_anonymised":
        anonymise_person(gone, at)
    with refused(code, "people", "messages"):
        anonymise_person(gone, at)


def test_refuses_to_forget_who_works_here(cast: Cast) -> None:
    inspector = cast.inspector
    with refused("person_still_here", "people"):
        anonymise_person(inspector, LATER)


def test_writes_no_name_again(cast: Cast, gone: Person) -> None:
    keeper = cast.keeper
    anonymise_person(gone, LATER)
    with refused("person_anonymised", "people"):
        services.change_person(by=keeper, person=gone, name="Violet Hask", initials="VH", at=LATER)


def test_takes_the_last_day_of_february_as_any_other() -> None:
    assert names_kept_until(date(2024, 2, 29)) == date(2034, 3, 1)


@pytest.mark.django_db(transaction=True)
def test_verifies_a_backup_made_afterwards(gone: Person, data_folder: Path) -> None:
    """The walk over the chain inside a backup knows of redactions too, and of payloads altered without one."""
    anonymise_person(gone, LATER)
    target = data_folder.parent / "backups"
    target.mkdir()
    make_backup(target=target / "good", public_keys=[], at=LATER)
    assert verify(OldFolder(target / "good", [])).findings == []
    key = Entry.objects.get(verb=Verb.REPORT_RAISED).pk
    with lifted("a test plays the intruder", ["audit_payload"]), connection.cursor() as cursor:
        cursor.execute("UPDATE audit_payload SET body = %s WHERE entry_id = %s", ['{"said":"nothing"}', key])
    make_backup(target=target / "altered", public_keys=[], at=LATER)
    (found,) = verify(OldFolder(target / "altered", [])).findings
    assert "its payload contradict" in found


def test_exports_everything_that_names_a_person(cast: Cast, gone: Person, tmp_path: Path) -> None:
    file = tmp_path / "person.zip"
    counts = export_person(person=gone, file=file, at=FIXED_NOW)
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    archive = zipfile.ZipFile(io.BytesIO(file.read_bytes()))
    person = json.loads(archive.read("person.json"))
    assert (person["name"], person["email"], person["badge"]) == ("Violet Ambry", ADDRESS, "3001")
    assert not SECRETS & set(person)
    whole = b"".join(archive.read(name) for name in archive.namelist()).decode()
    assert "argon2" not in whole
    assert not [secret for secret in SECRETS if f'"{secret}":' in whole]
    audit = [json.loads(line) for line in archive.read("audit.jsonl").splitlines()]
    assert {entry["verb"] for entry in audit} == {"person.added", "person.changed", "person.left", "report.raised"}
    assert counts["shop_messages_message"] == 1
    assert json.loads(archive.read("counts.json")) == counts
    assert entries_about("person 3001")[0].verb == "person.exported"


def test_exports_the_rows_of_nobody_else(cast: Cast, gone: Person, tmp_path: Path) -> None:
    name = cast.inspector.name
    export_person(person=gone, file=tmp_path / "one.zip", at=FIXED_NOW)
    archive = zipfile.ZipFile(tmp_path / "one.zip")
    whole = "".join(archive.read(name).decode() for name in archive.namelist())
    assert name not in whole
    for model, columns in naming():
        name = f"rows/{model._meta.db_table}.jsonl"
        if name in archive.namelist():
            for line in archive.read(name).splitlines():
                assert gone.pk in [json.loads(line)[column] for column in columns]


def test_looks_into_every_table_that_names_people() -> None:
    """As many columns as the database itself says point at people."""
    with connection.cursor() as cursor:
        names = connection.introspection.table_names(cursor)
        found = {
            (table, column)
            for table in names
            for column, (_, other, *_) in connection.introspection.get_relations(cursor, table).items()
            if other == "people_person"
        }
    ours = {(model._meta.db_table, column) for model, columns in naming() for column in columns}
    assert len(ours) > 60
    assert ours == found


def test_overwrites_no_file(gone: Person, tmp_path: Path) -> None:
    file = tmp_path / "person.zip"
    file.write_text("something else")
    with refused("file_exists", "people"):
        export_person(person=gone, file=file, at=FIXED_NOW)
    assert file.read_text() == "something else"


def test_answers_at_the_shell(gone: Person, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    call_command("export_person", "3001", str(tmp_path / "p.zip"))
    assert "rows about Violet Ambry" in capsys.readouterr().out
    with pytest.raises(CommandError, match="exists already"):
        call_command("export_person", "3001", str(tmp_path / "p.zip"))
    with pytest.raises(CommandError, match="No person"):
        call_command("export_person", "9999", str(tmp_path / "q.zip"))
    with pytest.raises(CommandError, match="is kept until 2036"):
        call_command("anonymise_person", "3001")


def test_forgets_by_the_table_what_is_past_its_period(
    cast: Cast, gone: Person, settings: Settings, capsys: pytest.CaptureFixture[str]
) -> None:
    settings.QCAPP_KEEP_NAMES_YEARS = 0
    settings.QCAPP_KEEP_MESSAGES_DAYS = 1
    Attempts.objects.create(key="address 192.0.2.1", first_at=FIXED_NOW, last_at=FIXED_NOW)
    with transaction.atomic():
        tell(to=cast.inspector, subject="Old", text="Told long ago.", at=FIXED_NOW)
    call_command("retention")
    assert "1 names" in capsys.readouterr().out
    assert Message.objects.count() == 2
    call_command("retention", "--apply")
    told = capsys.readouterr().out
    assert "A person's row: 1 forgotten." in told
    assert not Message.objects.exists()
    assert not Attempts.objects.exists()
    assert Person.objects.get(pk=gone.pk).name == "Person 3001"
    assert check_chain().holds
    assert entries_about("site")[0].verb == "site.retention_applied"


def test_says_in_the_guide_what_the_table_says() -> None:
    text = (REPOSITORY / "docs" / "retention.md").read_text(encoding="utf-8")
    for kind in kinds():
        assert f"| {kind.name} | {kind.personal} | {kind.reason} | {kind.period} | {kind.then} |" in text


def test_shows_the_table_to_the_keeper(cast: Cast, client_of: ClientOf) -> None:
    page = client_of(cast.keeper).get("/system/kept/").content.decode()
    assert "10 years after the person left" in page
    assert "No name is past its period." in page
    assert client_of(cast.quality_manager).get("/system/kept/").status_code == 403
