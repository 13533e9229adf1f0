"""Evidence files: what the rows name, and whether it is there. A table with the columns path and digest names some."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath

from django.apps import apps
from django.conf import settings
from django.db import models

from qcapp.lib.kept_files import read_kept, stored_paths

from .columns import Table
from .folder import digest_of

FOLDER = "evidence"


@dataclass(frozen=True)
class Named:
    """A file that a row names, by its path below the data folder."""

    table: str
    path: str
    digest: str


@dataclass
class EvidenceReport:
    """What a look at every evidence file found; `problems` are sentences."""

    checked: int = 0
    problems: list[str] = field(default_factory=list)
    extra: list[str] = field(default_factory=list)  # files that no row names


def names_evidence(table: Table) -> bool:
    """True when the rows of the table name evidence files."""
    return {"path", "digest"} <= {column.name for column in table.columns}


def evidence_models() -> list[type[models.Model]]:
    """The models whose rows name evidence files."""
    return [model for model in apps.get_models() if {"path", "digest"} <= _columns(model)]


def _columns(model: type[models.Model]) -> set[str]:
    return {str(field.column) for field in model._meta.local_concrete_fields}


def named() -> Iterator[Named]:
    """Every evidence file that a row of the database names."""
    for model in evidence_models():
        for path, digest in model._base_manager.order_by("pk").values_list("path", "digest").iterator(chunk_size=2000):
            yield Named(model._meta.db_table, path, digest)


def check_evidence(folder: Path | None = None) -> EvidenceReport:
    """Compare each named file below the data folder with its digest, and list those that nothing names."""
    root = folder or Path(settings.QCAPP_DATA_DIR)
    report = EvidenceReport()
    seen: set[str] = set()
    for each in named():
        seen.add(each.path)
        report.checked += 1
        if problem := _problem(root, each):
            report.problems.append(problem)
    stored = set(stored_paths()) if folder is None else set()
    report.extra = sorted((set(_present(root)) | stored) - seen)
    return report


def _problem(root: Path, each: Named) -> str:
    if not inside(each.path):
        return f"{each.path}, named in {each.table}, lies outside of the data folder."
    try:
        found = digest_of(root / each.path) if (root / each.path).is_file() else _in_store(root, each.path)
    except OSError:
        return f"{each.path}, named in {each.table}, is missing."
    return "" if found == each.digest else f"{each.path}, named in {each.table}, was altered."


def _in_store(root: Path, path: str) -> str:
    """The digest of what the store holds, for the site's own folder alone. Raises OSError where it holds nothing."""
    if root != Path(settings.QCAPP_DATA_DIR):
        raise FileNotFoundError(path)
    return hashlib.sha256(read_kept(path)).hexdigest()


def inside(path: str) -> bool:
    """True for a path that stays below the folder it starts from."""
    pure = PurePosixPath(path)
    return bool(pure.parts) and not pure.is_absolute() and ".." not in pure.parts


def _present(root: Path) -> Iterator[str]:
    for path in (root / FOLDER).rglob("*"):
        if path.is_file():
            yield str(path.relative_to(root))
