"""The data model as it stands in docs/data-model.md: per room a diagram, and each table with its columns."""

from __future__ import annotations

import inspect
from collections.abc import Iterator

from django.apps import AppConfig, apps
from django.db import models

from qcapp.lib.guards import guard_of

HEAD = """# Data model

Drawn by `manage.py write_documents` from the models; a test says when it is out of date. Per room a diagram of its
own tables and what they point at, then each table with its columns. **written once**: a row is never changed or
deleted, the database refuses it; **frozen**: the same, from an event on. `→` names the table that a key points at.
Values that somebody typed are kept as text.
"""


def data_model() -> str:
    """The whole document."""
    return "\n".join([HEAD, *(line for room in rooms() for line in _room(room))])


def rooms() -> list[AppConfig]:
    """The rooms that own tables, from the bottom up."""
    return [room for room in apps.get_app_configs() if room.name.startswith("qcapp.") and _models(room)]


def _models(room: AppConfig) -> list[type[models.Model]]:
    return sorted(room.get_models(), key=lambda model: model.__name__)


def _room(room: AppConfig) -> Iterator[str]:
    yield f"## {room.name.removeprefix('qcapp.')}\n"
    yield "```mermaid\nerDiagram"
    for model in _models(room):
        yield from _relations(model)
    yield "```\n"
    for model in _models(room):
        yield from _table(model)


def _relations(model: type[models.Model]) -> Iterator[str]:
    named = False
    for field in model._meta.local_concrete_fields:
        if isinstance(field, models.ForeignKey) and field.related_model.__name__ != "Person":
            many = "|o" if isinstance(field, models.OneToOneField) else "}o"
            yield f"    {model.__name__} {many}--|| {field.related_model.__name__} : {field.name}"
            named = True
    if not named:
        yield f"    {model.__name__}"


def _table(model: type[models.Model]) -> Iterator[str]:
    guard = guard_of(model)
    kind = "" if guard is None else " – **written once**" if guard.write_once else " – **frozen**"
    said = " ".join((inspect.getdoc(model) or "").split("\n\n")[0].split())
    yield f"### {model.__name__}{kind}\n\n`{model._meta.db_table}`. {said}\n"
    yield "| column | holds |\n| --- | --- |"
    for field in model._meta.local_concrete_fields:
        yield f"| {field.column} | {_holds(field)} |"
    yield ""


def _holds(field: models.Field) -> str:
    empty = ", may be empty" if field.null else ""
    only = ", once" if field.unique and not field.primary_key else ""
    if isinstance(field, models.ForeignKey):
        return f"→ {field.related_model._meta.db_table}{empty}{only}"
    length = f" up to {field.max_length}" if field.max_length else ""
    kind = "key" if field.primary_key else type(field).__name__.removesuffix("Field").lower()
    return f"{kind}{length}{empty}{only}"
