"""Restoring a backup into an empty place, and beginning a new epoch there."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from django.conf import settings
from django.core.management import call_command
from django.db import connection, connections, transaction
from django.db.migrations.executor import MigrationExecutor

from qcapp.audit import anchors
from qcapp.audit import services as audit
from qcapp.audit.queries import ChainReport, check_chain, entries_about
from qcapp.audit.verbs import Verb
from qcapp.core.errors import Invalid, Refused
from qcapp.lib import guards
from qcapp.lib.notes import sync_folder

from . import loading
from .evidence import FOLDER, EvidenceReport, check_evidence, named
from .folder import OldFolder, digest_of, pieces_of
from .making import SECRET_KEY, SIGNING_PASSPHRASE, kept_files
from .manifest import Manifest
from .notes import begin_restore, end_restore, restore_under_way
from .verifying import ANCHORS, unpacked, verify

MARGIN = 1000  # how far numbers jump: more than a workshop issues between a backup and its loss
BEGUN, LOADED = "begun", "loaded"


@dataclass(frozen=True)
class Copies:
    """What was copied out of the lost machine at its issue, where somebody has it."""

    anchors: Path | None = None
    papers: Path | None = None


@dataclass(frozen=True)
class Restored:
    """What a restore brought back, and what the checks at its end found."""

    manifest: Manifest
    entry: int  # the entry of the audit chain that says so
    papers_kept: list[str]  # files of the outside copies that no row of the backup names
    lost: int  # entries that the outside anchors know and the backup does not have
    chain: ChainReport
    evidence: EvidenceReport


def restore(
    *,
    folder: OldFolder,
    into: Path,
    at: datetime,
    copies: Copies,
    margin: int = MARGIN,
    say: Callable[[str], None] = lambda line: None,
) -> Restored:
    """Bring the backup back into the data folder `into` and the database of the settings, both empty.

    Interrupted, it leaves the mark `restoring.json`; the same command goes on. Raises Refused with a sentence when
    the place is not empty or not the settings' own, the backup does not hold or was made with another key or by a
    later version, and when a check at the end fails: the mark stays then, and the site does not call itself ready.
    """
    say("Reading the whole backup …")
    manifest, seal = _whole(folder)
    data = _own_folder(into)
    _require_our_key(folder, manifest)
    mark = _mark_for(seal, data, manifest)
    if mark != LOADED:
        loading.require_fitting_state(connections[loading.loading_alias()], manifest, begun=bool(mark))
        begin_restore(backup=str(folder.folder), manifest=seal, phase=BEGUN)
        say(f"Copying {len(manifest.files)} files, loading {sum(rows.rows for rows in manifest.tables)} rows …")
        _copy_files(folder, manifest, data, copies)
        _load_once(folder, manifest)
        begin_restore(backup=str(folder.folder), manifest=seal, phase=LOADED)
    say("Bringing the tables up to date, putting the guards back, collecting the files of the pages …")
    call_command("migrate", verbosity=0, interactive=False)
    call_command("collectstatic", verbosity=0, interactive=False)  # they lie in the data folder and in no backup
    papers = _read_papers(copies.papers, data)
    entry = _begin_epoch(manifest, seal, at, margin, papers)
    say("Checking the audit chain and the evidence …")
    return _checked(manifest, entry, papers)


def write_secret_key(folder: OldFolder, into: Path) -> Path:
    """Put the backup's secret key into the data folder, and give its path.

    Raises Refused `secret_key_exists` when one is there, Invalid when the backup has none or cannot be read.
    """
    target = _own_folder(into) / SECRET_KEY
    key = folder.bytes_of(f"files/{SECRET_KEY}")
    try:
        descriptor = os.open(target, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    except FileExistsError as error:
        raise Refused("secret_key_exists", f"{target} is there already; it is never written over.") from error
    with os.fdopen(descriptor, "wb") as file:
        file.write(key)
    return target


# --- before anything is written -----------------------------------------------------------------------------


def _whole(folder: OldFolder) -> tuple[Manifest, str]:
    """The manifest of a backup that holds, and the digest that tells it from every other."""
    if folder.encrypted and not folder.keys:
        raise Refused("key_needed", "The backup is encrypted. Name the file of the private key with --key-file.")
    report = verify(folder)
    if report.manifest is None or report.findings:
        message = f"The backup does not hold: {' '.join(report.findings[:3])} Nothing was restored; take an older one."
        raise Refused("backup_does_not_hold", message, findings=report.findings)
    name = next(name for name in folder.sums if name.startswith("manifest.json"))
    return report.manifest, folder.sums[name]


def _own_folder(into: Path) -> Path:
    """The settings' data folder, which the person has to name: a restore into the wrong place is not undone."""
    data = Path(settings.QCAPP_DATA_DIR)
    if into.resolve() != data.resolve():
        message = f"The settings' data folder is {data}. Set QCAPP_DATA_DIR and QCAPP_DATABASE_URL for {into} first."
        raise Refused("not_the_data_folder", message)
    return data


def _require_our_key(folder: OldFolder, manifest: Manifest) -> None:
    if ANCHORS not in {kept.path for kept in manifest.files}:
        return
    try:
        with unpacked(folder, f"files/{ANCHORS}") as path:
            list(anchors.read(path))
    except anchors.AnchorsNotOurs as error:
        message = (
            "The backup was made with another secret key. Put that one in place first (QCAPP_SECRET_KEY, or "
            "`restore --only-key` from an encrypted backup): without it no anchor can be checked and no PIN fits."
        )
        raise Refused("another_key", message) from error


def _mark_for(seal: str, data: Path, manifest: Manifest) -> str:
    """How far an earlier try of this very restore came; empty when the place is empty. Raises Refused otherwise."""
    mark = restore_under_way()
    if mark and mark.get("manifest") != seal:
        message = f"A restore of {mark.get('backup')} was begun here. Run that one to its end, or empty the place."
        raise Refused("another_restore_under_way", message)
    if mark:
        return str(mark["phase"])
    if there := kept_files(data, with_secret=False):
        message = f"{data} is not empty: it holds {there[0]}. A restore goes into an empty place only."
        raise Refused("data_folder_not_empty", message)
    if rows := loading.rows_there(connections[loading.loading_alias()]):
        message = f"The database is not empty: {rows[0]} has rows. A restore goes into an empty place only."
        raise Refused("database_not_empty", message)
    return ""


# --- files and rows -----------------------------------------------------------------------------------------


def _copy_files(folder: OldFolder, manifest: Manifest, data: Path, copies: Copies) -> None:
    for kept in manifest.files:
        if kept.path == SECRET_KEY:
            continue  # on its own, by `--only-key`: the running process already has one
        target = data / kept.path
        if not target.exists() or digest_of(target) != kept.digest:
            _write(target, folder.pieces(kept.name))
    if copies.anchors:
        _take_outside_anchors(copies.anchors, data / ANCHORS)


def _private(target: Path) -> bool:
    """What the web server, which is of the server's group, must not read: signing keys and their passphrase."""
    return target.name == SIGNING_PASSPHRASE or target.suffix == ".p12"


def _write(target: Path, pieces: Any) -> None:
    target.parent.mkdir(parents=True, exist_ok=True)
    new = target.with_name(f".new-{target.name}")
    new.touch(mode=0o600 if _private(target) else 0o640)
    with new.open("wb") as file:
        for piece in pieces:
            file.write(piece)
        file.flush()
        os.fsync(file.fileno())
    new.replace(target)
    sync_folder(target.parent)


def _take_outside_anchors(outside: Path, ours: Path) -> None:
    """The copy goes further than the backup's own file. Raises Refused when it is not its continuation."""
    kept = ours.read_bytes() if ours.exists() else b""
    if not outside.read_bytes().startswith(kept):
        message = f"{outside} does not begin as the backup's anchors do: one of the two was altered. Find out which."
        raise Refused("anchors_differ", message)
    try:
        list(anchors.read(outside))
    except anchors.AnchorsNotOurs as error:
        raise Refused("anchors_differ", f"{outside} cannot be used: {error.message}") from error
    _write(ours, pieces_of(outside))


def _load_once(folder: OldFolder, manifest: Manifest) -> None:
    """Load the rows, unless an earlier try was stopped right after it had done so."""
    target = connections[loading.loading_alias()]
    if not loading.rows_there(target):
        loading.make_tables(target, manifest)
        loading.load(target, folder, manifest)
    elif not loading.same_rows(target, manifest):
        message = "The database holds something else than this backup. Name an empty one and begin again."
        raise Refused("database_not_empty", message)


def _read_papers(papers: Path | None, data: Path) -> list[str]:
    """Signed files copied outside: one that a row names is put where it belongs, the others are kept as evidence."""
    if papers is None:
        return []
    places = {each.digest: each.path for each in named()}
    kept: list[str] = []
    for file in sorted(path for path in papers.rglob("*") if path.is_file()):
        sealed = digest_of(file)
        relative = places.get(sealed) or f"{FOLDER}/{sealed[:2]}/{sealed}{file.suffix.lower()}"
        if not (data / relative).exists():
            _write(data / relative, pieces_of(file))
        if sealed not in places:
            kept.append(relative)
    return kept


# --- the new epoch ------------------------------------------------------------------------------------------


def _begin_epoch(manifest: Manifest, seal: str, at: datetime, margin: int, papers: list[str]) -> int:
    """The entry of this restore, written once however often the restore had to be begun."""
    for entry in entries_about("site"):
        if entry.verb == Verb.SITE_RESTORED and entry.payload.get("manifest") == seal:
            return entry.number
    payload = {"backup": manifest.made_at, "manifest": seal, "ended": _ended(manifest), "papers": papers}
    with transaction.atomic():
        number = audit.begin_epoch(at=at, margin=margin, years=_years(manifest, at), payload=payload)
    audit.anchor(at=at)
    return number


def _ended(manifest: Manifest) -> dict[str, dict[str, int]]:
    """The life of the chain that ends here, and those that only the outside anchors know."""
    kept_to, epoch = manifest.chain["number"], manifest.chain["epoch"]
    ended = {epoch: {"kept_to": kept_to, "known_to": kept_to}} if epoch else {}
    told = set(_told_before())
    for anchor in anchors.read():
        if anchor.epoch not in told:
            life = ended.setdefault(anchor.epoch, {"kept_to": 0, "known_to": 0})
            life["known_to"] = max(life["known_to"], anchor.number)
    return ended


def _told_before() -> list[str]:
    restores = [entry for entry in entries_about("site") if entry.verb == Verb.SITE_RESTORED]
    return [epoch for entry in restores for epoch in entry.payload.get("ended", {})]


def _years(manifest: Manifest, at: datetime) -> list[int]:
    """The years of the site's zone in which papers may have been issued since the backup."""
    zone = ZoneInfo(settings.QCAPP_SITE_ZONE)
    first = datetime.fromisoformat(manifest.made_at).astimezone(zone).year
    return list(range(first, at.astimezone(zone).year + 1))


def _checked(manifest: Manifest, entry: int, papers: list[str]) -> Restored:
    chain, evidence = check_chain(), check_evidence()
    problems = [*evidence.problems, chain.anchor_problem, chain.broken.message if chain.broken else ""]
    problems += [f"{table} lacks its guard." for table in guards.missing(connection, guards.guards_of())]
    executor = MigrationExecutor(connection)
    if executor.migration_plan(executor.loader.graph.leaf_nodes()):
        problems.append("Not every migration is applied.")
    if found := list(filter(None, problems)):
        raise Invalid("restored_place_does_not_hold", " ".join(found[:3]), findings=found)
    end_restore()
    said = next(each for each in entries_about("site") if each.number == entry)
    life = said.payload["ended"].get(manifest.chain["epoch"], {"kept_to": 0, "known_to": 0})
    return Restored(manifest, entry, papers, life["known_to"] - life["kept_to"], chain, evidence)
