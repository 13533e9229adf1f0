"""Runs management commands in one process: `python -m tests.config.commands '[["migrate"], ["backup", "/x"]]'`.

FAULT kills the process at one point, as a power cut would: `rows` while the results are loaded, `mark` right after the
rows were committed, `epoch` before the new epoch begins.
"""

from __future__ import annotations

import json
import os
import sys
from typing import Any


def break_at(fault: str) -> None:
    """Put the fault into place."""
    from qcapp.config.backup import loading, restoring

    def when(module: Any, name: str, wanted: Any) -> None:
        original = getattr(module, name)

        def dying(*args: Any, **options: Any) -> Any:
            if wanted(args, options):
                os._exit(9)
            return original(*args, **options)

        setattr(module, name, dying)

    if fault == "rows":
        when(loading, "_load_table", lambda args, options: args[2].table.name == "inspections_result")
    if fault == "mark":
        when(restoring, "begin_restore", lambda args, options: options["phase"] == restoring.LOADED)
    if fault == "epoch":
        when(restoring, "_begin_epoch", lambda args, options: True)


if __name__ == "__main__":
    import django
    from django.core.management import call_command

    django.setup()
    break_at(os.environ.get("FAULT", ""))
    for name, *arguments in json.loads(sys.argv[1]):
        call_command(name, *arguments)
