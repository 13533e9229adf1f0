"""`manage.py restore DIR --into FOLDER`: a backup into the empty data folder and database of the settings."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.config.backup import sealing
from qcapp.config.backup.folder import OldFolder
from qcapp.config.backup.restoring import MARGIN, Copies, Restored, restore, write_secret_key
from qcapp.core.errors import QcError


class Command(BaseCommand):
    help = "Restore a backup into an empty place: the data folder and the database that the settings name."
    requires_system_checks: list[str] = []  # `--only-key` brings the key that the checks ask for

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("folder", type=Path, metavar="DIR", help="the backup")
        parser.add_argument(
            "--into", type=Path, required=True, metavar="FOLDER", help="the settings' data folder, named once more"
        )
        parser.add_argument("--key-file", type=Path, metavar="FILE", help="private key of an encrypted backup")
        parser.add_argument("--only-key", action="store_true", help="only put the backup's secret key into place")
        parser.add_argument(
            "--margin",
            type=int,
            default=MARGIN,
            metavar="N",
            help=f"how far numbers of reports and certificates jump (default {MARGIN})",
        )
        parser.add_argument("--anchors", type=Path, metavar="FILE", help="copy of anchors.jsonl kept elsewhere")
        parser.add_argument("--papers", type=Path, metavar="FOLDER", help="copies of issued files kept elsewhere")

    def handle(self, *args: Any, **options: Any) -> None:
        if options["margin"] < 0:
            raise CommandError("--margin is a whole number from 0 on.")
        try:
            keys = sealing.identities(options["key_file"]) if options["key_file"] else []
            folder = OldFolder(options["folder"], keys)
            if options["only_key"]:
                self.stdout.write(f"The secret key is in {write_secret_key(folder, options['into'])}.")
                return
            self.check()
            self._tell(self._restore(folder, options), options["margin"])
        except QcError as error:
            raise CommandError(error.message) from error

    def _restore(self, folder: OldFolder, options: dict[str, Any]) -> Restored:
        return restore(
            folder=folder,
            into=options["into"],
            at=timezone.now(),
            copies=Copies(anchors=options["anchors"], papers=options["papers"]),
            margin=options["margin"],
            say=self.stdout.write,
        )

    def _tell(self, done: Restored, margin: int) -> None:
        lines = [
            f"Restored: the backup of {done.manifest.made_at}, from {done.manifest.database}.",
            f"{done.chain.entries} audit entries and {done.chain.anchors_checked} anchors checked, "
            f"{done.evidence.checked} evidence files there.",
            f"Entry {done.entry} of the audit chain records the restore. Numbers jumped by {margin}; a new epoch "
            "began, so tablets send again what the backup may have missed.",
        ]
        if done.lost:
            lines.append(f"The anchors kept elsewhere know {done.lost} acts that the backup does not have.")
        if done.papers_kept:
            lines.append("Issued after the backup, kept as evidence and named in the audit chain:")
            lines += [f"  {path}" for path in done.papers_kept]
        self.stdout.write("\n".join([*lines, "Everybody signs in anew."]))
