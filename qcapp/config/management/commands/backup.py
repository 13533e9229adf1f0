"""`manage.py backup DIR`: rows, evidence and anchors into a new folder; `--verify` reads one back."""

from __future__ import annotations

import shutil
from argparse import ArgumentParser
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.audit.services import utc_text
from qcapp.config.backup import sealing
from qcapp.config.backup.folder import OldFolder
from qcapp.config.backup.making import make_backup
from qcapp.config.backup.verifying import Verification, verify
from qcapp.core.errors import QcError
from qcapp.lib.notes import note

DATED = "qcapp-%Y%m%dT%H%M%SZ"


class Command(BaseCommand):
    help = "Make a backup in a new folder while the site is in use, or verify one."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, metavar="DIR", help="the new folder; with --verify one that is there")
        parser.add_argument("--verify", action="store_true", help="read the backup back; exit status 1 if it fails")
        parser.add_argument(
            "--dated", action="store_true", help="make a folder named by the time inside DIR; with --verify, the newest"
        )
        parser.add_argument(
            "--keep", type=int, metavar="N", help="with --dated: delete older dated backups, but never the last N"
        )
        parser.add_argument(
            "--encrypt",
            action="append",
            default=[],
            metavar="PUBLIC_KEY",
            help="age1…, from backup_key; may be given several times. The secret key file is then part of the backup",
        )
        parser.add_argument("--key-file", type=Path, metavar="FILE", help="private key, to verify an encrypted backup")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["keep"] is not None and (options["keep"] < 1 or not options["dated"] or options["verify"]):
            raise CommandError("--keep goes with --dated and keeps at least one.")
        try:
            if options["verify"]:
                self._verify(newest(options["folder"]) if options["dated"] else options["folder"], options["key_file"])
            else:
                self._make(options)
        except QcError as error:
            raise CommandError(error.message) from error

    def _make(self, options: dict[str, Any]) -> None:
        at = timezone.now()
        folder = options["folder"] / at.astimezone(UTC).strftime(DATED) if options["dated"] else options["folder"]
        manifest = make_backup(target=folder, public_keys=options["encrypt"], at=at)
        rows = sum(each.rows for each in manifest.tables)
        self.stdout.write(f"{folder}: {rows} rows of {len(manifest.tables)} tables and {len(manifest.files)} files.")
        if manifest.left_out:
            self.stdout.write(f"Left out, since no model owns them: {', '.join(manifest.left_out)}.")
        if not options["encrypt"]:
            self.stdout.write("Not encrypted, so the secret key is not in it: keep that in another place.")
        for old in dated(options["folder"])[: -options["keep"]] if options["keep"] else ():
            shutil.rmtree(old)
            self.stdout.write(f"{old} is deleted.")

    def _verify(self, folder: Path, key_file: Path | None) -> None:
        report = verify(OldFolder(folder, sealing.identities(key_file) if key_file else []))
        self.stdout.write("\n".join(_in_words(report)))
        if not report.holds:
            raise CommandError(f"{folder} does not hold. Make a new backup now.", returncode=1)
        content = report.manifest is not None
        note("backup_verified", folder=str(folder.absolute()), at=utc_text(timezone.now()), content=content)


def dated(place: Path) -> list[Path]:
    """The dated backups in a folder, the newest last."""
    found = [path for path in place.glob("qcapp-*") if path.is_dir() and _is_dated(path.name)]
    return sorted(found, key=lambda path: path.name)


def newest(place: Path) -> Path:
    """The newest dated backup. Raises CommandError when there is none."""
    if not (found := dated(place)):
        raise CommandError(f"{place} holds no dated backup.")
    return found[-1]


def _is_dated(name: str) -> bool:
    try:
        datetime.strptime(name, DATED).replace(tzinfo=UTC)
    except ValueError:
        return False
    return True


def _in_words(report: Verification) -> list[str]:
    lines = [*report.findings, *report.notes]
    if report.holds and report.manifest:
        lines.append(
            f"{report.folder} of {report.manifest.made_at}: {report.rows} rows, {len(report.manifest.files)} files, "
            f"{report.entries} audit entries, {report.anchors} anchors, {report.evidence} evidence files named. "
            "Everything holds."
        )
    return lines
