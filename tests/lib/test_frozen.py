"""Rows freeze when an event is recorded for their parent: for plain SQL too, and while it is recorded."""

from __future__ import annotations

import threading

import pytest
from django.db import IntegrityError, connection, connections, transaction

from .guarded.models import Drawing, DrawingEvent, Line

SQL = {
    "insert": "INSERT INTO guarded_line (drawing_id, text) VALUES (%(drawing)s, 'new')",
    "update": "UPDATE guarded_line SET text = 'changed' WHERE drawing_id = %(drawing)s",
    "delete": "DELETE FROM guarded_line WHERE drawing_id = %(drawing)s",
}


@pytest.fixture
def drawing() -> Drawing:
    drawing = Drawing.objects.create(name="D1")
    Line.objects.create(drawing=drawing, text="first")
    return drawing


def lines(drawing: Drawing) -> list[str]:
    return list(Line.objects.filter(drawing=drawing).order_by("pk").values_list("text", flat=True))


def release(drawing: Drawing) -> None:
    with transaction.atomic():
        Drawing.objects.select_for_update().get(pk=drawing.pk)
        DrawingEvent.objects.create(drawing=drawing, kind="released")


@pytest.mark.django_db
def test_changes_while_no_event_is_recorded(drawing: Drawing) -> None:
    DrawingEvent.objects.create(drawing=drawing, kind="sent to review")
    Line.objects.filter(drawing=drawing).update(text="changed")
    Line.objects.create(drawing=drawing, text="new")
    assert lines(drawing) == ["changed", "new"]
    Line.objects.filter(drawing=drawing).delete()
    assert lines(drawing) == []


@pytest.mark.django_db
@pytest.mark.parametrize("act", list(SQL))
def test_refuses_plain_sql_after_the_event(drawing: Drawing, act: str) -> None:
    release(drawing)
    with pytest.raises(IntegrityError, match="guarded_line is frozen"), transaction.atomic():
        connection.cursor().execute(SQL[act], {"drawing": drawing.pk})
    assert lines(drawing) == ["first"]


@pytest.mark.django_db
def test_refuses_to_move_a_line_in_or_out(drawing: Drawing) -> None:
    release(drawing)
    draft = Drawing.objects.create(name="D2")
    loose = Line.objects.create(drawing=draft, text="loose")
    for moved, target in [(loose.pk, drawing.pk), (Line.objects.get(text="first").pk, draft.pk)]:
        with pytest.raises(IntegrityError, match="frozen"), transaction.atomic():
            Line.objects.filter(pk=moved).update(drawing_id=target)
    assert lines(drawing) == ["first"]
    assert lines(draft) == ["loose"]


@pytest.mark.django_db
def test_leaves_the_lines_of_another_drawing_alone(drawing: Drawing) -> None:
    release(drawing)
    other = Drawing.objects.create(name="D2")
    Line.objects.create(drawing=other, text="open")
    assert lines(other) == ["open"]


@pytest.mark.django_db(transaction=True)
def test_lets_no_line_slip_in_while_the_release_commits() -> None:
    drawing = Drawing.objects.create(name="D1")
    locked, outcome = threading.Event(), []

    def add_a_line() -> None:
        locked.wait(10)
        try:
            Line.objects.create(drawing=drawing, text="late")
            outcome.append("written")
        except IntegrityError:
            outcome.append("refused")
        finally:
            connections.close_all()

    writer = threading.Thread(target=add_a_line)
    writer.start()
    with transaction.atomic():
        Drawing.objects.select_for_update().get(pk=drawing.pk)
        locked.set()
        wait_until_somebody_waits()
        DrawingEvent.objects.create(drawing=drawing, kind="released")
    writer.join(20)
    assert outcome == ["refused"]
    assert lines(drawing) == []


def wait_until_somebody_waits() -> None:
    """Until the other writer stands at the lock. SQLite has one writer at a time and shows no waiting."""
    waiting = "SELECT count(*) FROM pg_locks WHERE NOT granted"
    for _ in range(1000 if connection.vendor == "postgresql" else 0):
        with connection.cursor() as cursor:
            cursor.execute(waiting)
            if cursor.fetchone()[0]:
                return
            cursor.execute("SELECT pg_sleep(0.005)")
