"""The guards are there after every migrate, are missed when absent, and can be lifted for a back-fill."""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import IntegrityError, connection, models, transaction

from qcapp.lib import guards
from qcapp.lib.write_once import WriteOnceModel

from .guarded.models import Drawing, DrawingEvent, Line, Reading


def of(model: type[models.Model]) -> guards.Guard:
    guard = guards.guard_of(model)
    assert guard is not None
    return guard


def errors() -> list[tuple[str | None, str]]:
    return [(error.id, error.msg) for error in guards.check_installed(["default"])]


@pytest.mark.django_db
def test_finds_every_guarded_table_protected() -> None:
    assert errors() == []
    assert {"guarded_reading", "guarded_line", "audit_entry"} <= set(guards.on_tables(connection))


@pytest.mark.django_db
def test_asks_for_no_guard_on_an_ordinary_table() -> None:
    assert guards.guard_of(Drawing) is None


@pytest.mark.django_db
def test_names_each_table_that_lost_its_guards() -> None:
    guards.remove(connection, [of(Reading)])
    (found,) = errors()
    assert found[0] == "qcapp.E101"
    assert "guarded_reading" in found[1]
    guards.install(connection, [of(Reading)])
    assert errors() == []


@pytest.mark.django_db
def test_puts_guards_back_on_migrate() -> None:
    guards.remove(connection, guards.guards_of())
    call_command("migrate", verbosity=0)
    assert errors() == []


@pytest.mark.django_db
@pytest.mark.parametrize("how", ["DISABLE TRIGGER", "ENABLE REPLICA TRIGGER"])
def test_misses_guards_that_the_owner_put_to_sleep_and_wakes_them_on_migrate(how: str) -> None:
    asleep = min(name for name in guards.installed(connection)["guarded_reading"] if name != "qcguard_truncate")
    asks = connection.vendor == "postgresql"  # on SQLite a trigger is there or is not
    guards.run(connection, [f"ALTER TABLE guarded_reading {how} {asleep}" if asks else f"DROP TRIGGER {asleep}"])
    (found,) = errors()
    assert asleep in found[1]
    call_command("migrate", verbosity=0)
    assert errors() == []


@pytest.mark.django_db
def test_makes_no_guard_before_its_tables_are_there() -> None:
    frozen = of(Line).frozen_when
    assert frozen is not None
    early = replace(of(Line), frozen_when=replace(frozen, event_table="not_made_yet"))
    guards.remove(connection, [of(Line)])
    guards.install(connection, [early])
    assert guards.installed(connection).get("guarded_line") is None


@pytest.mark.django_db
def test_lifts_and_lowers_a_guard() -> None:
    reading = Reading.objects.create(note="wrong")
    with guards.lifted("unit of measure was stored twice", ["guarded_reading"]):
        Reading._base_manager.filter(pk=reading.pk).update(note="right")
    assert Reading.objects.get().note == "right"
    assert errors() == []
    with pytest.raises(IntegrityError, match="write-once"), transaction.atomic():
        Reading._base_manager.update(note="again")


@pytest.mark.django_db
def test_lowers_the_guard_of_a_table_with_unchecked_references() -> None:
    drawing = Drawing.objects.create(name="D1")
    line = Line.objects.create(drawing=drawing, text="first")
    DrawingEvent.objects.create(drawing=drawing, kind="released")
    with guards.lifted("a line was missing", ["guarded_line", "guarded_drawingevent"]):
        Line.objects.create(drawing=drawing, text="second", replaces=line)
    assert errors() == []
    assert Line.objects.count() == 2


@pytest.mark.django_db(transaction=True)
def test_rolls_the_lifting_back_with_the_error_that_ended_it() -> None:
    Reading.objects.create(note="stays")

    def back_fill() -> None:
        with guards.lifted("a back-fill that goes wrong", ["guarded_reading"]):
            Reading._base_manager.update(note="half done")
            raise RuntimeError("in the middle")

    with pytest.raises(RuntimeError, match="in the middle"):
        back_fill()
    assert Reading.objects.get().note == "stays"
    assert errors() == []


@pytest.mark.django_db
@pytest.mark.parametrize(("reason", "table"), [("  ", "guarded_reading"), ("a reason", "guarded_drawing")])
def test_lifts_nothing_without_reason_or_guard(reason: str, table: str) -> None:
    with pytest.raises(ValueError, match=r"Say why|No guard"), guards.lifted(reason, [table]):
        pytest.fail("lifted")
    assert errors() == []


@pytest.mark.django_db(transaction=True)
def test_survives_a_migration_that_remakes_the_event_table() -> None:
    """On SQLite an altered column remakes the table, and the guards that read it stand in the way."""
    old = DrawingEvent._meta.get_field("kind")
    new = models.CharField(max_length=60)
    new.set_attributes_from_name("kind")
    new.model = DrawingEvent
    config = apps.get_app_config("guarded")
    for before, after in [(old, new), (new, old)]:
        guards.make_way(config, using="default", plan=["a migration"])
        with connection.schema_editor() as editor:
            editor.alter_field(DrawingEvent, before, after)
        guards.reinstall(config, using="default")
        assert errors() == []


@pytest.mark.django_db
def test_makes_no_way_when_nothing_is_to_migrate() -> None:
    guards.make_way(apps.get_app_config("guarded"), using="default", plan=[])
    assert errors() == []


def test_complains_about_a_manager_that_can_update(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(Reading._meta.__dict__, "default_manager", Drawing._default_manager)
    assert [(error.id, error.obj) for error in guards.check_declared(None)] == [("qcapp.E102", Reading)]


def test_complains_about_a_guard_that_names_no_known_table(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(Line, "frozen_when", replace(Line.frozen_when, event_table="guarded_nothing"))
    assert [(error.id, error.obj) for error in guards.check_declared(None)] == [("qcapp.E103", Line)]


def test_finds_nothing_to_complain_about() -> None:
    assert guards.check_declared(None) == []
    assert all(guards._refuses_updates(model) for model in apps.get_models() if issubclass(model, WriteOnceModel))
