"""The command line of qcapp: `python manage.py help` lists what it can do."""

from __future__ import annotations

import os
import sys


def main() -> None:
    """Run the command that the arguments name. `demo` chooses its data folder and key before the settings
    are read.
    """
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "qcapp.config.settings")
    if sys.argv[1:2] == ["demo"]:
        from qcapp.config.demo import prepare

        folder = prepare(sys.argv[2:], os.environ)
        if not (folder / "demo").exists():
            sys.exit(f"{folder} holds records of its own; name another folder with --data.")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)


if __name__ == "__main__":
    main()
