"""`manage.py make_signing_key`: the key that certificates are signed with from now on, made here or brought along."""

from __future__ import annotations

from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from qcapp.certificates.services.keys import make_key, take_key, take_token
from qcapp.core.errors import QcError
from qcapp.lib.signing_keys import grouped
from qcapp.lib.signing_tokens import Token


class Command(BaseCommand):
    help = (
        "Makes a key (EC P-256, self-signed) that certificates are signed with from now on, or takes over one from a "
        "PKCS #12 file. Older keys stay, and what they signed stays checkable. Copy the key's folder to a safe place: "
        "no backup holds it."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--from", dest="file", type=Path, metavar="FILE.p12", help="a key of your own")
        parser.add_argument("--module", metavar="FILE.so", help="PKCS #11 library of a hardware token that has the key")
        parser.add_argument("--token", default="", metavar="NAME", help="the token's name; its PIN is the passphrase")
        parser.add_argument("--label", default="", metavar="NAME", help="label of key and certificate on the token")
        parser.add_argument("--years", type=int, default=10, help="how long a new key is valid (10)")

    def handle(self, *args: Any, **options: Any) -> None:
        file: Path | None = options["file"]
        at = timezone.now()
        try:
            if options["module"]:
                key = take_token(found=Token(options["module"], options["token"], options["label"]), at=at)
            else:
                key = take_key(data=file.read_bytes(), at=at) if file else make_key(at=at, years=options["years"])
        except QcError as refusal:
            raise CommandError(f"{refusal.message} ({refusal.code})") from None
        except OSError as error:
            raise CommandError(f"{file} cannot be read: {error.strerror}.") from None
        self.stdout.write(f"Certificates are signed by {key.subject} until {key.valid_until:%Y-%m-%d}.")
        self.stdout.write(f"Publish this fingerprint where your customers find it:\n{grouped(key.fingerprint)}")
        where = "on the token that this file names" if options["module"] else "readable with the passphrase only"
        self.stdout.write(f"The key is {key.path}, {where}.")
