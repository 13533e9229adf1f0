"""`manage.py demo`: the invented demonstration, played in and served."""

from __future__ import annotations

import atexit
import logging
import subprocess
import sys
from argparse import ArgumentParser
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError
from django.db import connection
from django.utils import timezone

from qcapp.audit.services import anchor
from qcapp.certificates.services.keys import make_key
from qcapp.config.demonstration import cast as people
from qcapp.config.demonstration import stories as told
from qcapp.config.demonstration.containment import play_containment
from qcapp.config.demonstration.goods import make_goods, send_out
from qcapp.config.demonstration.improving import improve, mudguards
from qcapp.config.demonstration.metrology import play_metrology
from qcapp.config.demonstration.papers import certify_lots, choose_papers
from qcapp.config.demonstration.player import make_plans, play_units
from qcapp.config.demonstration.revisions import play_revision
from qcapp.config.demonstration.welding import make_papers, make_welding

DONE = "played"
BAR = 40
# What is told once every unit has come as far as its story goes.
AFTERWARDS = (play_metrology, improve, play_containment, play_revision, send_out, make_papers, certify_lots)


class Command(BaseCommand):
    help = "Make the invented demonstration in the data folder, if it is not there, and serve it."

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--data", metavar="DIR", help="data folder (default: .data, or QCAPP_DATA_DIR)")
        parser.add_argument("--port", type=int, default=8000, metavar="N", help="port to serve on (default 8000)")
        parser.add_argument("--no-serve", action="store_true", help="make the demonstration and stop")
        parser.add_argument("--reset", action="store_true", help="throw the demonstration away and make it anew")

    def handle(self, *args: Any, **options: Any) -> None:
        if not settings.QCAPP_DEMO:
            raise CommandError(f"{settings.QCAPP_DATA_DIR} holds records of its own; name another folder with --data.")
        mark = Path(settings.QCAPP_DATA_DIR) / DONE
        if options["reset"] and mark.exists():
            mark.unlink()
            self._throw_away()
        if not mark.exists():
            self._play()
            mark.write_text(timezone.now().isoformat() + "\n", encoding="ascii")
        self._tell(options["port"])
        if not options["no_serve"]:
            self._serve(options["port"])

    def _throw_away(self) -> None:
        if connection.vendor != "sqlite":
            raise CommandError("--reset works on the demonstration's own SQLite file only; drop the database yourself.")
        name = Path(str(connection.settings_dict["NAME"]))
        connection.close()
        for suffix in ("", "-wal", "-shm"):
            Path(f"{name}{suffix}").unlink(missing_ok=True)
        anchors = Path(settings.QCAPP_DATA_DIR) / "anchors"
        for file in anchors.glob("*") if anchors.exists() else ():
            file.unlink()

    def _play(self) -> None:
        self.stdout.write("Making the demonstration (invented data) …")
        call_command("migrate", verbosity=0)
        if connection.vendor == "sqlite":
            # A demonstration that is cut short is made anew, so it need not wait for the disk at every act.
            with connection.cursor() as cursor:
                cursor.execute("PRAGMA synchronous = OFF")
        now = timezone.now()
        begin = now - timedelta(days=90)
        self._refuse_half_done()
        cast = people.make_people(begin)
        people.make_gauges(cast, begin, now)
        make_plans(cast, begin + timedelta(days=1))
        choose_papers(cast, begin + timedelta(days=1))
        make_key(at=begin, years=10)
        make_welding(cast, begin + timedelta(days=1))
        make_goods(cast, begin + timedelta(days=2), now)
        done = 0
        stories = (*mudguards(), *told.UNITS) if told.ALL_TOLD else told.UNITS

        def tick() -> None:
            nonlocal done
            done += 1
            full = done * BAR // len(stories)
            self.stdout.write(f"\r[{'#' * full}{'.' * (BAR - full)}] {done} of {len(stories)} units", ending="")
            self.stdout.flush()

        play_units(stories, cast, now, now, tick)
        self.stdout.write("\nAnd what came after: complaints, measures, studies, mails …")
        # Mails that find no address are part of the story, for the keeper's page; here they would look like a failure.
        logging.getLogger("qcapp.messages").setLevel(logging.ERROR)
        for play in AFTERWARDS if told.ALL_TOLD else ():
            play(cast, now)
        logging.getLogger("qcapp.messages").setLevel(logging.NOTSET)
        anchor(at=now)

    def _refuse_half_done(self) -> None:
        from qcapp.audit.queries import head

        if head().number:
            raise CommandError("An earlier demonstration was stopped half-way. Make it anew: manage.py demo --reset")

    def _tell(self, port: int) -> None:
        address = f"http://localhost:{port}/"
        lines = [
            "", f"  {address}", "",
            f"  Everybody signs in with the password  {people.PASSWORD}  and signs with the PIN  {people.PIN}",
            "  1001  Imogen Marlowe, inspector         1009  Rosalind Adeyemi, quality manager",
            "  1002  Tadeo Okonjo, inspector           1010  Caspar Vane, quality manager and metrology",
            "  1005  Wenda Carrow, welder              1011  Linnea Foss, engineer",
            "  1008  Emeka Thorne, goods-in            1012  Osric Delamere, welding coordinator",
            "  1014  Halvard Minch, dispatch           1013  Yara Quill, customer service",
            "                                          1015  Greta Sandoval, keeper of the system",
            "",
            "  Serial numbers to try:  FR-200-0147 (on hold), FR-200-0140 (ready for release),",
            "                          FR-200-0131 (certified after a rework)",
            f"  A guide for each of them:  {address}guide/glossary/",
            "  Demonstration, invented. Nothing in it is valid.", "",
        ]  # fmt: skip
        self.stdout.write("\n".join(lines))

    def _watch_signals(self) -> None:
        """Charts are looked at beside the server, as in production; it ends with the server."""
        command = [sys.executable, sys.argv[0], "watch_signals", "--every", "30"]
        watcher = subprocess.Popen(command, stdout=subprocess.DEVNULL)  # noqa: S603 - ourselves
        atexit.register(watcher.terminate)

    def _serve(self, port: int) -> None:
        call_command("collectstatic", interactive=False, verbosity=0)
        self.stdout.write(f"  Serving on port {port}. Stop with Ctrl+C.\n")
        self.stdout.flush()
        from gunicorn.app.wsgiapp import WSGIApplication

        self._watch_signals()

        sys.argv = [
            "gunicorn", "qcapp.config.wsgi:application", "--bind", f"127.0.0.1:{port}",
            "--workers", "1", "--threads", "2",
            "--worker-tmp-dir", "/dev/shm", "--log-level", "warning",  # noqa: S108 - gunicorn's heartbeat file
        ]  # fmt: skip
        WSGIApplication("%(prog)s [OPTIONS] [APP_MODULE]", prog="gunicorn").run()
