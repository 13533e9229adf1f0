"""Everything that is kept about one person, as a ZIP file of JSON: the row, every row that names it, the audit entries.

Secrets are left out: they would let the reader sign in, and tell nothing about the person.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from django.apps import apps
from django.conf import settings
from django.core.serializers.json import DjangoJSONEncoder
from django.db import models, transaction

from qcapp.audit import services as audit
from qcapp.audit.queries import entries_of
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Refused

if TYPE_CHECKING:
    from qcapp.people.models import Person

SECRETS = frozenset(
    {
        "password",
        "pin",
        "pin_print",
        "sealed_secret",
        "code_digest",
        "token_digest",
        "session_data",
        "session_key",
        "args_kwargs",
    }
)
READ_ME = """Everything that {site} keeps about the person with badge {badge}, as of {at} (UTC).

person.json    the person's row
rows/          a file for each table with rows that name the person, one JSON object a line, as stored;
               a column that ends with _id holds the key of a row, {key} is the person's own
audit.jsonl    what the person did and what was done about the person, as the audit chain has it
counts.json    how many rows each file has

Passwords, PINs and other secrets are left out. Pictures and scanned papers that the person kept are named by their
digest in rows/evidence_evidencefile.jsonl; the site hands them out on request. Remarks that others wrote may name the
person in words: those cannot be found by a program with certainty.
"""


def export_person(*, person: Person, file: Path, at: datetime) -> dict[str, int]:
    """Write the file, readable by its owner alone, and give how many rows each part has.

    Raises Refused (`file_exists`). The export itself stands in the audit chain, with the file's digest.
    """
    try:
        handle = os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as error:
        raise Refused("file_exists", f"{file} exists already. Name another file.") from error
    with os.fdopen(handle, "wb") as stream, zipfile.ZipFile(stream, "w", zipfile.ZIP_DEFLATED) as archive:
        counts = _write(archive, person, at)
    with transaction.atomic():
        sealed = hashlib.sha256(file.read_bytes()).hexdigest()
        payload = {"counts": counts, "digest": sealed}
        subject = f"person {person.badge}"
        audit.record(verb=Verb.PERSON_EXPORTED, actor=None, subject=subject, at=at, payload=payload)
    return counts


def _write(archive: zipfile.ZipFile, person: Person, at: datetime) -> dict[str, int]:

    words = {"site": settings.QCAPP_SITE_NAME, "badge": person.badge, "at": f"{at:%Y-%m-%d %H:%M}", "key": person.pk}
    archive.writestr("README.txt", READ_ME.format(**words))
    archive.writestr("person.json", _json(_plain(type(person), person.pk)))
    counts: dict[str, int] = {}
    for model, columns in naming():
        count = _lines(archive, f"rows/{model._meta.db_table}.jsonl", rows_naming(model, columns, person.pk))
        counts |= {model._meta.db_table: count} if count else {}
    counts["audit"] = _lines(archive, "audit.jsonl", entries_of(str(person.uuid), f"person {person.badge}"))
    archive.writestr("counts.json", _json(counts))
    return counts


def naming() -> Iterator[tuple[type[models.Model], list[str]]]:
    """Every model whose rows name people, with the columns that do, by table."""
    for model in sorted(apps.get_models(include_auto_created=True), key=lambda one: one._meta.db_table):
        columns = [
            field.attname
            for field in model._meta.local_concrete_fields
            if isinstance(field, models.ForeignKey) and field.related_model._meta.label == "people.Person"
        ]
        if columns:
            yield model, columns


def rows_naming(model: type[models.Model], columns: list[str], key: int) -> Iterator[dict[str, Any]]:
    """The rows of a table that name the person in one of these columns, without secrets."""
    wanted = models.Q()
    for column in columns:
        wanted |= models.Q(**{column: key})
    shown = [field.attname for field in model._meta.local_concrete_fields if field.attname not in SECRETS]
    yield from model._base_manager.filter(wanted).order_by("pk").values(*shown).iterator(chunk_size=2000)


def _plain(model: type[models.Model], key: int) -> dict[str, Any]:
    shown = [field.attname for field in model._meta.local_concrete_fields if field.attname not in SECRETS]
    return model._base_manager.values(*shown).get(pk=key)


def _lines(archive: zipfile.ZipFile, name: str, rows: Iterable[dict[str, Any]]) -> int:
    """Write one JSON object a line, a file only where there is a row; gives how many."""
    count, rest = 0, iter(rows)
    first = next(rest, None)
    if first is None:
        return 0
    with archive.open(name, "w") as stream:
        while first is not None:
            stream.write(f"{_json(first, indent=None)}\n".encode())
            count, first = count + 1, next(rest, None)
    return count


def _json(data: Any, indent: int | None = 1) -> str:
    return json.dumps(data, cls=DjangoJSONEncoder, ensure_ascii=False, indent=indent)
