"""The worker, killed at a certificate: `python -m tests.certificates.dying_worker outcome`, `file`, or `never`.

`outcome` ends it by SIGKILL before the certificate it has just issued is committed, `file` after the commit, before
its file is laid out; `never` works off what there is.
"""

from __future__ import annotations

import os
import signal
import sys
from typing import Any

import django


def main(where: str) -> None:
    django.setup()
    from django.core.management import call_command

    from qcapp.certificates.models import BatchOutcome
    from qcapp.certificates.services import batches

    def die(*args: Any, **options: Any) -> None:
        os.kill(os.getpid(), signal.SIGKILL)

    if where == "outcome":
        BatchOutcome.objects.create = die  # type: ignore[method-assign]
    if where == "file":
        batches.pdf_bytes = die
    call_command("db_worker", "--batch", "--no-startup-delay", "--no-reload")


if __name__ == "__main__":
    main(sys.argv[1])
