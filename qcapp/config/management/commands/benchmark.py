"""`manage.py benchmark --core`: how fast the parts are beside the least they would have to do, ratio first."""

from __future__ import annotations

import json
import os
import platform
import re
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.utils import timezone

from qcapp.config.benchmarks import registry
from qcapp.config.benchmarks.registry import Effort, Measurement

MOST_UNITS = 500_000
MOST_RESULTS = 160 * MOST_UNITS
KEPT = "for --traceability on PostgreSQL: fill a database of this name once, keep it, and measure in it again"
HEAD = ("ratio", "goal", "", "measured", "value", "baseline")


class Command(BaseCommand):
    help = "Time parts of the application against a baseline; without a group, all of them."
    requires_system_checks = []  # what a benchmark needs it says itself; the core needs nothing

    def add_arguments(self, parser: CommandParser) -> None:
        for group in registry.load():
            parser.add_argument(f"--{group}", action="append_const", dest="groups", const=group, help=f"run {group}")
        parser.add_argument("--only", default="", metavar="NAME", help="run one benchmark of the group")
        parser.add_argument("--repeats", type=int, default=7, metavar="N", help="runs of which the median counts (7)")
        parser.add_argument("--scale", type=float, default=1.0, metavar="F", help="share of the usual amounts (1)")
        parser.add_argument("--seconds", type=float, default=60, metavar="S", help="length of the shift (60)")
        parser.add_argument("--units", type=int, default=0, metavar="N", help="frames for --traceability (300)")
        parser.add_argument("--results", type=int, default=0, metavar="N", help="results for --charts (240 000)")
        parser.add_argument("--kept", default="", metavar="NAME", help=KEPT)
        parser.add_argument("--all", action="store_true", help="run every group, as without one")
        parser.add_argument("--json", metavar="FILE", help="write the numbers there too; - writes them alone to stdout")

    def handle(self, *args: Any, **options: Any) -> None:
        settings.QCAPP_ASKED_A_MINUTE = dict.fromkeys(settings.QCAPP_ASKED_A_MINUTE, 0)  # it asks more than people do
        if options["repeats"] < 1 or options["scale"] <= 0 or options["seconds"] <= 0:
            raise CommandError("Give at least one repeat, and a scale and seconds above zero.")
        if options["units"] < 0 or options["units"] > MOST_UNITS:
            raise CommandError(f"Give from 1 to {MOST_UNITS} units.")
        if options["results"] < 0 or options["results"] > MOST_RESULTS:
            raise CommandError(f"Give from 1 to {MOST_RESULTS} results.")
        if not re.fullmatch(r"[a-z0-9_]{0,40}", options["kept"]):
            raise CommandError("Name what is kept by up to 40 small letters, digits and underscores.")
        effort = Effort(*(options[name] for name in ("scale", "repeats", "seconds", "units", "results", "kept")))
        chosen = list(registry.of_groups(self._groups(options), options["only"]))
        if not chosen:
            raise CommandError(f"There is no benchmark {options['only']} in what was asked for.")
        measured = [(one.group, line) for one in chosen for line in one.run(effort)]
        if options["json"] != "-":
            self.stdout.write(table([line for _, line in measured]))
        if options["json"]:
            self._write_json(measured, effort, options["json"])

    def _groups(self, options: dict[str, Any]) -> Sequence[str]:
        if options["all"] and options["groups"]:
            raise CommandError("Give either --all or the groups that you want.")
        return options["groups"] or registry.load()

    def _write_json(self, measured: list[tuple[str, Measurement]], effort: Effort, target: str) -> None:
        lines = [{"group": group} | line.to_json() for group, line in measured]
        document = {
            "on": timezone.localdate().isoformat(), "cores": os.cpu_count(), "database": connection.display_name,
            "python": platform.python_version(), "scale": effort.scale, "repeats": effort.repeats,
        }  # fmt: skip
        text = json.dumps(document | {"measurements": lines}, ensure_ascii=False, indent=1)
        if target == "-":
            self.stdout.write(text)
        else:
            Path(target).write_text(text + "\n", encoding="utf-8")


def table(lines: list[Measurement]) -> str:
    """The measurements in columns, the ratio first, each followed by what it is compared with."""
    rows = [HEAD, *(_cells(line) for line in lines)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(HEAD))]
    head, *printed = ["  ".join(map(str.ljust, row, widths)).rstrip() for row in rows]
    told = [head]
    for text, line in zip(printed, lines, strict=True):
        told.append(text)
        if line.against:
            told.append(f"{'':{widths[0]}}  against: {line.against}")
    return "\n".join(told)


def _cells(line: Measurement) -> tuple[str, ...]:
    ratio = "–" if line.ratio is None else f"{line.ratio:.2f}×"
    met = {None: "", True: "met", False: "not met"}[line.met]
    value, baseline = (
        "–" if number is None else f"{_short(number)} {line.unit}" for number in (line.value, line.baseline)
    )
    name = line.name if line.frames is None else f"{line.name}, {line.frames} frames"
    return ratio, line.goal, met, name, value, baseline


def _short(number: float) -> str:
    return f"{number:,.0f}".replace(",", " ") if abs(number) >= 1000 else f"{number:.3g}"
