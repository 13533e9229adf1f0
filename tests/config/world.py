"""A small site with everything a backup has to carry, and its backup: `python -m tests.config.world DIR`.

`--later` in place of a folder goes on working in a copy of it, and writes an anchor.

One unit inspected, released and certified with its PDF kept; one with an open report; awkward texts; anchors.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime, timedelta

SERIAL, HELD = "FR-200-0147", "FR-200-0148"
LOST = 3  # acts after the backup, with `--later`
AWKWARD = 'Ø 31,8 × 2.0 – "≤" \\ tab\tline\nend 🛠 z\u0301 '
LONG = "weld seam " * 20_000


def make_world() -> None:
    """Migrate and play the site in."""
    from django.conf import settings
    from django.core.management import call_command

    from qcapp.audit.services import anchor
    from qcapp.certificates.queries import certificates_of
    from qcapp.certificates.services.issuing import issue_certificate
    from qcapp.certificates.services.releasing import release
    from qcapp.certificates.services.rendering import pdf_bytes
    from qcapp.lib import signing_keys
    from qcapp.people.services import demonstration_proof
    from tests.cast import FIXED_NOW, Cast
    from tests.factories.inspections import Workshop

    call_command("migrate", verbosity=0)
    settings.QCAPP_SIGNING_PASSPHRASE = "a passphrase for tests only"
    signing_keys.keep(signing_keys.new_bundle("A small site", datetime(2020, 1, 1, tzinfo=UTC), 30))
    cast, later = Cast(), FIXED_NOW + timedelta(hours=2)
    workshop = Workshop.opened(cast, serial=SERIAL).finish()
    _act(AWKWARD)
    _act(LONG)
    workshop.another_unit(HELD).send_one("head_angle", "62.50")
    release(proof=demonstration_proof(cast.quality_manager, later), serial=SERIAL, at=later)
    issue_certificate(by=cast.quality_manager, serial=SERIAL, at=later)
    pdf_bytes(certificates_of(workshop.item_id)[0], at=later)
    anchor(at=later)


def work_on() -> None:
    """What a machine did between its backup and its loss."""
    from qcapp.audit.services import anchor
    from tests.cast import FIXED_NOW

    for place in range(LOST):
        _act(f"act {place} after the backup")
    anchor(at=FIXED_NOW + timedelta(hours=3))


def _act(text: str) -> None:
    """An entry whose payload holds the text."""
    from django.db import transaction

    from qcapp.audit.services import record
    from qcapp.audit.verbs import Verb
    from tests.cast import FIXED_NOW

    payload = {"zulu": text, "alpha": "12.50", "list": ["0.10", "1e3"]}
    with transaction.atomic():
        record(verb=Verb.SITE_SET_UP, actor=None, subject="site", at=FIXED_NOW, payload=payload)


if __name__ == "__main__":
    import django
    from django.core.management import call_command

    django.setup()
    if sys.argv[1] == "--later":
        work_on()
    else:
        make_world()
        call_command("backup", sys.argv[1])
