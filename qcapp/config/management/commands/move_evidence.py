"""`manage.py move_evidence`: files of the data folder into the object store that the settings name."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError

from qcapp.config.backup.evidence import named
from qcapp.core.errors import Refused
from qcapp.lib.kept_files import evidence_store, put_into_store


class Command(BaseCommand):
    help = "Move evidence files into the store of QCAPP_EVIDENCE_STORE; each is read back before the local one goes."

    def handle(self, *args: Any, **options: Any) -> None:
        store = evidence_store()
        if store is None:
            raise CommandError("No store is named. Set QCAPP_EVIDENCE_STORE first.")
        moved = 0
        for each in named():
            local = Path(settings.QCAPP_DATA_DIR) / each.path
            if not local.is_file():
                continue
            data = local.read_bytes()
            if hashlib.sha256(data).hexdigest() != each.digest:
                raise CommandError(f"{each.path} was altered and stays. Restore it from a backup. {moved} files moved.")
            try:
                put_into_store(store, each.path, data)
            except Refused as error:
                raise CommandError(f"{error.message} {moved} files moved.") from error
            with store.open(each.path) as file:
                if file.read() != data:
                    raise CommandError(f"The store gave {each.path} back altered; it stays here. {moved} files moved.")
            local.unlink()
            moved += 1
        self.stdout.write(f"{moved} files moved into the store.")
