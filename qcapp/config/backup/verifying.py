"""Reading a backup back: bytes, rows, the audit chain with its anchors, and the evidence that the rows name."""

from __future__ import annotations

import hashlib
import json
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from qcapp.audit import anchors
from qcapp.audit.queries import NOT_REDACTED, Head, anchor_problem, lives_told, redactions_told
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid
from qcapp.core.sealing import Entry, canonical, digest, first_broken

from .columns import Table, Value, content_of
from .evidence import inside, names_evidence
from .folder import OldFolder, wrong_bytes
from .manifest import NAME, Manifest, Rows, manifest_from

ANCHORS = "anchors/anchors.jsonl"
NO_KEY = "It is encrypted and no key was given: its bytes are as they were written, its content was not read."


@dataclass
class Verification:
    """What was read, and a sentence for each thing that is wrong. `notes` say what could not be looked at."""

    folder: Path
    manifest: Manifest | None = None
    findings: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    rows: int = 0
    entries: int = 0
    anchors: int = 0
    evidence: int = 0

    @property
    def holds(self) -> bool:
        """True when nothing is wrong."""
        return not self.findings


def verify(folder: OldFolder) -> Verification:
    """Read the whole backup. Raises Invalid when it is none, or of a format that is not known."""
    report = Verification(folder.folder, findings=wrong_bytes(folder.folder))
    if report.findings:
        return report  # what follows from altered bytes would only repeat it
    if folder.encrypted and not folder.keys:
        report.notes.append(NO_KEY)
        return report
    report.manifest = manifest_from(folder.bytes_of(NAME))
    for look in (_look_at_files, _look_at_rows, _look_at_evidence, _look_at_chain):
        if not report.findings:
            look(folder, report.manifest, report)
    return report


def rows_of(folder: OldFolder, rows: Rows) -> Iterator[list[Value]]:
    """The rows of one table. Raises Invalid for a line that is no row of it."""
    width = len(rows.table.columns)
    with folder.opened(rows.name) as stream:
        for number, line in enumerate(stream, start=1):
            try:
                row = json.loads(line)
            except ValueError:
                row = None
            if not isinstance(row, list) or len(row) != width:
                raise Invalid("row_of_backup_unreadable", f"Line {number} of {rows.name} is no row.")
            yield row


def _look_at_files(folder: OldFolder, manifest: Manifest, report: Verification) -> None:
    """Every file that the manifest names, and none besides."""
    suffix = ".age" if folder.encrypted else ""
    named = {rows.name + suffix: rows.digest for rows in manifest.tables}
    named |= {kept.name + suffix: kept.digest for kept in manifest.files}
    extra = set(folder.sums) - set(named) - {NAME + suffix}
    report.findings += [f"{name} is not named in the manifest." for name in sorted(extra)]
    report.findings += [
        f"{kept.path} lies outside of the data folder." for kept in manifest.files if not inside(kept.path)
    ]
    for name, expected in named.items():
        if name not in folder.sums:
            report.findings.append(f"{name} is named in the manifest and missing.")
        elif _digest(folder, name.removesuffix(suffix)) != expected:
            report.findings.append(f"{name} is not what the manifest says.")


def _digest(folder: OldFolder, name: str) -> str:
    found = hashlib.sha256()
    for piece in folder.pieces(name):
        found.update(piece)
    return found.hexdigest()


def _look_at_rows(folder: OldFolder, manifest: Manifest, report: Verification) -> None:
    for rows in manifest.tables:
        count, content = 0, hashlib.sha256()
        for row in rows_of(folder, rows):
            count += 1
            content.update(content_of(rows.table, row))
        if (count, content.hexdigest()) != (rows.rows, rows.content):
            report.findings.append(f"{rows.name} does not hold the {rows.rows} rows that the manifest says.")
        report.rows += count


def _look_at_evidence(folder: OldFolder, manifest: Manifest, report: Verification) -> None:
    kept = {each.path: each.digest for each in manifest.files}
    for rows in manifest.tables:
        if not names_evidence(rows.table):
            continue
        path, sealed = rows.table.place("path"), rows.table.place("digest")
        for row in rows_of(folder, rows):
            report.evidence += 1
            if row[path] not in kept:
                report.findings.append(f"{row[path]}, named in {rows.table.name}, is missing from the backup.")
            elif kept[str(row[path])] != row[sealed]:
                report.findings.append(f"{row[path]}, named in {rows.table.name}, was altered before the backup.")


# --- the chain inside ---------------------------------------------------------------------------------------


def _look_at_chain(folder: OldFolder, manifest: Manifest, report: Verification) -> None:
    entries, payloads = manifest.table("audit_entry"), manifest.table("audit_payload")
    if entries is None or payloads is None:
        report.findings.append("The audit chain is missing from the backup.")
        return
    lines = _anchors(folder, manifest, report)
    payload_digests = _payload_digests(folder, payloads)
    walk = _Walk(payload_digests, {anchor.number for anchor in lines}, _redactions(folder, entries, payloads))
    known = Head(manifest.chain["number"], manifest.chain["digest"], manifest.chain["epoch"])
    broken = first_broken(walk.over(folder, entries), head=(known.number, known.digest) if known.number else None)
    report.entries = walk.entries
    if walk.altered or broken or walk.entries != known.number:
        report.findings.append(walk.altered or (broken.message if broken else "The chain does not end at its head."))
        return
    ended = lives_told(_bodies(folder, payloads, walk.restores))
    for anchor in lines:
        if problem := anchor_problem(anchor, known, walk.digests, ended):
            report.findings.append(problem)
            return
        report.anchors += 1


def _payload_digests(folder: OldFolder, payloads: Rows) -> dict[Value, bytes]:
    of, body = payloads.table.place("entry_id"), payloads.table.place("body")
    return {row[of]: bytes.fromhex(digest(str(row[body]))) for row in rows_of(folder, payloads)}


def _bodies(folder: OldFolder, payloads: Rows, entries: list[Value]) -> list[str]:
    of, body = payloads.table.place("entry_id"), payloads.table.place("body")
    return [str(row[body]) for row in rows_of(folder, payloads) if row[of] in entries] if entries else []


def _redactions(folder: OldFolder, entries: Rows, payloads: Rows) -> dict[int, frozenset[str]]:
    """Which payloads stand without the names that they had, as the chain itself says."""
    of, verb, number = (entries.table.place(name) for name in ("id", "verb", "number"))
    told = {row[of]: int(str(row[number])) for row in rows_of(folder, entries) if row[verb] == Verb.PAYLOADS_REDACTED}
    entry, body = payloads.table.place("entry_id"), payloads.table.place("body")
    bodies = (
        [(told[row[entry]], str(row[body])) for row in rows_of(folder, payloads) if row[entry] in told] if told else []
    )
    return redactions_told(bodies)


class _Walk:
    """Hands the entries on, and stops at the first that its payload or its columns contradict."""

    def __init__(self, payloads: dict[Value, bytes], wanted: set[int], redacted: dict[int, frozenset[str]]) -> None:
        self.payloads = payloads
        self.redacted = redacted
        self.wanted = wanted
        self.entries = 0
        self.altered = ""
        self.digests: dict[int, str] = {}
        self.restores: list[Value] = []

    def over(self, folder: OldFolder, entries: Rows) -> Iterator[Entry]:
        for row in rows_of(folder, entries):
            says = _named(entries.table, row)
            if says["header"] != _header(says) or not self._payload_fits(says):
                self.altered = f"Entry {says['number']} was altered: its columns or its payload contradict its header."
                return
            self.entries += 1
            if says["number"] in self.wanted:
                self.digests[says["number"]] = says["digest"]
            if says["verb"] == Verb.SITE_RESTORED:
                self.restores.append(says["id"])
            yield says["number"], says["header"], says["previous_digest"], says["digest"]

    def _payload_fits(self, says: dict[str, Any]) -> bool:
        found = self.payloads.get(says["id"], b"").hex()
        return found == says["payload_digest"] or found in self.redacted.get(says["number"], NOT_REDACTED)


def _named(table: Table, row: list[Value]) -> dict[str, Any]:
    return {column.name: value for column, value in zip(table.columns, row, strict=True)}


def _header(says: dict[str, Any]) -> str:
    header = {name: says[name] for name in ("actor", "number", "subject", "verb")}
    at = str(says["at"]).removesuffix("Z") + "+00:00"
    try:
        return canonical(header | {"at": at, "payload": says["payload_digest"]})
    except Invalid:
        return ""


def _anchors(folder: OldFolder, manifest: Manifest, report: Verification) -> list[anchors.Anchor]:
    """The backup's anchors. Those of another key are noted, since whoever verifies need not have the key."""
    lines: list[anchors.Anchor] = []
    if ANCHORS not in {kept.path for kept in manifest.files}:
        report.notes.append("It holds no anchors: a cut end or a full rewrite of the chain would not show.")
        return lines
    try:
        with unpacked(folder, f"files/{ANCHORS}") as path:
            for anchor in anchors.read(path):
                lines.append(anchor)
    except anchors.AnchorsNotOurs as error:
        if error.details["line"] == 1:
            report.notes.append("Its anchors were sealed with another key than this installation's: not checked.")
        else:
            report.findings.append(error.message)
    return lines


@contextmanager
def unpacked(folder: OldFolder, name: str) -> Iterator[Path]:
    """One file of the backup as a file of its own, for as long as the block lasts."""
    with tempfile.NamedTemporaryFile() as file:
        for piece in folder.pieces(name):
            file.write(piece)
        file.flush()
        yield Path(file.name)
