"""Models built the quick way between migrations are those that Django builds."""

from __future__ import annotations

from contextlib import AbstractContextManager, nullcontext
from typing import Any

from django.apps import apps as configured
from django.db.migrations.loader import MigrationLoader
from django.db.migrations.state import ModelState, ProjectState

from qcapp.lib.quick_states import quick_states


def built(way: AbstractContextManager[None]) -> Any:
    """The models after every migration, built from the first one on as `migrate` has them."""
    loader = MigrationLoader(None)
    plan = loader.graph._generate_plan(loader.graph.leaf_nodes(), at_end=True)
    state = ProjectState(real_apps=loader.unmigrated_apps)
    with way:
        assert state.apps is not None  # from here on each change builds what it touches
        for key in plan:
            state = loader.graph.nodes[key].mutate_state(state, preserve=False)
    return state.apps


def told(apps: Any) -> dict[str, Any]:
    """Each model with its columns, what they point to, and what points to it."""
    return {
        model._meta.label: (
            [(field.name, field.deconstruct()[1:]) for field in model._meta.local_fields],
            [related.label_lower for field in model._meta.fields if (related := _target(field))],
            sorted(
                relation.related_model._meta.label + relation.field.name for relation in model._meta.related_objects
            ),
            [str(each) for each in (*model._meta.constraints, *model._meta.indexes)],
        )
        for model in apps.get_models()
    }


def _target(field: Any) -> Any:
    return field.related_model._meta if field.is_relation else None


def test_builds_the_same_models() -> None:
    quick, django = told(built(quick_states())), told(built(nullcontext()))
    assert len(quick) > 100
    assert quick == django
    assert {model._meta.label for model in configured.get_models() if model._meta.app_label == "plans"} <= set(quick)


def test_leaves_django_as_it_was() -> None:
    before = ProjectState.add_model
    with quick_states():
        assert ProjectState.add_model is not before
    assert ProjectState.add_model is before


def test_builds_a_model_of_a_known_name_anew_with_what_points_to_it() -> None:
    """As when a migration takes a table over under its name."""
    from django.db import models

    def state_of(name: str, *fields: Any) -> ModelState:
        return ModelState("shop", name, [("id", models.AutoField(primary_key=True)), *fields])

    with quick_states():
        state = ProjectState()
        assert state.apps is not None
        state.add_model(state_of("Frame"))
        state.add_model(state_of("Weld", ("frame", models.ForeignKey("shop.Frame", models.CASCADE))))
        state.add_model(state_of("Frame", ("serial", models.TextField())))
    frame, weld = state.apps.get_model("shop", "Frame"), state.apps.get_model("shop", "Weld")
    assert weld._meta.get_field("frame").related_model is frame
    assert [field.name for field in frame._meta.local_fields] == ["id", "serial"]
