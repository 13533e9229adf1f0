"""Corrective actions: what is offered, what is running, and one action with what may be done next."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from http import HTTPStatus
from typing import Any

from django import forms as django_forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.lib.site_days import site_day
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.access import needs
from qcapp.people.queries import may
from qcapp.people.roles import Act

from . import forms
from .cards import ActionView, Signalled
from .pictures.compared import shares_picture, values_picture
from .posting import Perform, performed, proof_of
from .queries.actions import action, action_counts, actions, steps_for
from .queries.effect import effect_of
from .queries.settings import setting
from .queries.similar import cluster_of, clusters
from .services import leading, opening
from .services.signalled import open_action_for_signal, sentence_of
from .states import ActionState

OFFERED = 12
FORMS: dict[str, type[django_forms.Form]] = {
    "accept": forms.AcceptForm,
    "explain": forms.ExplainForm,
    "step": forms.StepForm,
    "watch": forms.WatchForm,
    "look_again": forms.NoteForm,
    "drop": forms.NoteForm,
    "close": forms.CloseForm,
    "add": forms.AddReportsForm,
}
# Forms that stand whatever the next move is, while the action has not ended.
ALWAYS = ("explain", "step", "add")


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def overview(request: HttpRequest) -> HttpResponse:
    """What is offered as one corrective action, and the actions that are running."""
    state = request.GET.get("state", "active")
    at = timezone.now()
    counts = action_counts()
    ended = counts[ActionState.CLOSED] + counts[ActionState.DROPPED]
    states = [("active", "Running", sum(counts.values()) - ended)]
    states += [(s.value, s.label, counts[s.value]) for s in ActionState]
    context = {
        "actions": actions(state), "state": state, "states": [*states, ("all", "All", sum(counts.values()))],
        "clusters": clusters(at=at)[:OFFERED], "setting": setting(), "today": site_day(at),
        "leads": may(request.user, Act.LEAD_ACTION, at),
    }  # fmt: skip
    return render(request, "improvement/overview.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LEAD_ACTION)
def open_action(request: HttpRequest) -> HttpResponse:
    """Open a corrective action for a group of similar reports."""
    at = timezone.now()
    opened: list[str] = []

    def perform(data: dict[str, Any], at: Any) -> None:
        opened.append(opening.open_action(by=request.user, at=at, **data))

    asked = request.POST if request.method == "POST" else request.GET
    named = {name: asked.get(name, "") for name in ("basis", "value")}
    family = asked.get("family_code", asked.get("family", ""))
    form = forms.OpenForm(request.POST) if request.method == "POST" else None
    status = performed(form, perform) if form else HTTPStatus.OK
    if opened:
        return redirect("improvement:action", number=opened[0])
    cluster = cluster_of(named["basis"], named["value"], family, at=at)
    numbers = ", ".join(one.number for one in cluster.reports)
    initial = named | {"family_code": family, "title": cluster.words[:160], "problem": f"{cluster.words}: {numbers}."}
    context = {"form": form or forms.OpenForm(initial=initial), "cluster": cluster}
    return render(request, "improvement/open.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LEAD_ACTION)
def open_for_signal(request: HttpRequest) -> HttpResponse:
    """Turn a chart's signal into a corrective action."""
    opened: list[str] = []

    def perform(data: dict[str, Any], at: Any) -> None:
        said = {name: data.pop(name) for name in ("title", "problem")}
        opened.append(open_action_for_signal(by=request.user, about=Signalled(**data), at=at, **said))

    asked = request.POST if request.method == "POST" else request.GET
    about = Signalled(*(asked.get(name, "") for name in SIGNAL))
    form = forms.SignalForm(request.POST) if request.method == "POST" else None
    status = performed(form, perform) if form else HTTPStatus.OK
    if opened:
        return redirect("improvement:action", number=opened[0])
    sentence = sentence_of(about)
    initial = asdict(about) | {"title": sentence[:160], "problem": sentence}
    context = {"form": form or forms.SignalForm(initial=initial), "about": about, "sentence": sentence}
    return render(request, "improvement/signal.html", context, status=status)


SIGNAL = ("family_code", "key", "rule", "fixture", "first_serial")


@require_safe
@needs(Act.LOOK_AT_IMPROVEMENT)
def action_page(request: HttpRequest, number: str) -> HttpResponse:
    """One corrective action, with the forms of what may be done next."""
    return _page(request, number)


@require_POST
@needs(Act.LEAD_ACTION)
def accept(request: HttpRequest, number: str) -> HttpResponse:
    """Take up a proposed action."""
    return _act(
        request, number, "accept", lambda data, at: leading.accept(by=request.user, number=number, at=at, **data)
    )


@require_POST
@needs(Act.LEAD_ACTION)
def explain(request: HttpRequest, number: str) -> HttpResponse:
    """Write the chain of causes."""
    return _act(
        request, number, "explain", lambda data, at: leading.explain(by=request.user, number=number, at=at, **data)
    )


@require_POST
@needs(Act.LEAD_ACTION)
def add_step(request: HttpRequest, number: str) -> HttpResponse:
    """Agree a step."""
    return _act(
        request, number, "step", lambda data, at: leading.add_step(by=request.user, number=number, at=at, **data)
    )


@require_POST
@needs(Act.LEAD_ACTION)
def add_reports(request: HttpRequest, number: str) -> HttpResponse:
    """Answer further reports."""
    return _act(
        request, number, "add", lambda data, at: opening.add_reports(by=request.user, number=number, at=at, **data)
    )


@require_POST
@needs(Act.DO_ACTION)
def move_step(request: HttpRequest, number: str) -> HttpResponse:
    """A step done, verified, sent back or cancelled."""
    form = forms.MoveStepForm(request.POST)

    def perform(data: dict[str, Any], at: Any) -> None:
        leading.move_step(by=request.user, number=number, at=at, **data)

    status = performed(form, perform)
    looks = may(request.user, Act.LOOK_AT_IMPROVEMENT, timezone.now()) and "mine" not in request.POST
    if status == HTTPStatus.OK:
        return redirect("improvement:action", number=number) if looks else redirect("improvement:mine")
    if looks:
        return _page(request, number, {"problem": form}, status)
    return render(request, "improvement/mine.html", _mine(request) | {"problem": form}, status=status)


@require_POST
@needs(Act.LEAD_ACTION)
def agree(request: HttpRequest, number: str) -> HttpResponse:
    """Causes and steps stand."""
    return _act(request, number, "agree", lambda data, at: leading.agree(by=request.user, number=number, at=at))


@require_POST
@needs(Act.LEAD_ACTION)
def watch(request: HttpRequest, number: str) -> HttpResponse:
    """All done: watch the effect."""
    return _act(request, number, "watch", lambda data, at: leading.watch(by=request.user, number=number, at=at, **data))


@require_POST
@needs(Act.LEAD_ACTION)
def look_again(request: HttpRequest, number: str) -> HttpResponse:
    """Back to the causes."""
    return _act(
        request, number, "look_again",
        lambda data, at: leading.look_again(by=request.user, number=number, at=at, **data),
    )  # fmt: skip


@require_POST
@needs(Act.LEAD_ACTION)
def drop(request: HttpRequest, number: str) -> HttpResponse:
    """Not pursued."""
    return _act(request, number, "drop", lambda data, at: leading.drop(by=request.user, number=number, at=at, **data))


@require_POST
@needs(Act.CLOSE_ACTION)
@sensitive_post_parameters("pin")
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Close it on its effect, signed."""

    def perform(data: dict[str, Any], at: Any) -> None:
        proof = proof_of(request, data["pin"], at)
        leading.close(proof=proof, number=number, note=data["note"], at=at)

    return _act(request, number, "close", perform)


@require_safe
@needs(Act.DO_ACTION)
def mine(request: HttpRequest) -> HttpResponse:
    """The steps that I have to do, whatever my role."""
    return render(request, "improvement/mine.html", _mine(request))


def _mine(request: HttpRequest) -> dict[str, Any]:
    return {"steps": steps_for(request.user), "today": site_day(timezone.now())}


def _act(request: HttpRequest, number: str, name: str, perform: Perform) -> HttpResponse:
    make = FORMS.get(name, django_forms.Form)
    form = make(request.POST, auto_id=f"{name}_%s")
    status = performed(form, perform)
    if status == HTTPStatus.OK:
        return redirect("improvement:action", number=number)
    return _page(request, number, {name: form}, status)


def _page(
    request: HttpRequest, number: str, bound: dict[str, django_forms.Form] | None = None, status: int = HTTPStatus.OK
) -> HttpResponse:
    at = timezone.now()
    view = action(number)
    effect = effect_of(number)
    bound, now = bound or {}, setting()
    context = {
        "action": view, "effect": effect, "today": site_day(at), "setting": now,
        "forms": _forms(request, view, now.units_wanted, at) | bound, "problem": bound.get("problem"),
        "leads": may(request.user, Act.LEAD_ACTION, at), "me": request.user.pk,
        "shares": _drawn(shares_picture, effect), "values": _drawn(values_picture, effect),
    }  # fmt: skip
    return render(request, "improvement/action.html", context, status=status)


def _drawn(draw: Callable[[Any], str], effect: object) -> str:
    return shown_drawing(draw(effect)) if effect else ""


def _forms(request: HttpRequest, view: ActionView, units: int, at: Any) -> dict[str, django_forms.Form]:
    """Fresh forms of what is possible now and lies in the person's roles."""
    if not may(request.user, Act.LEAD_ACTION, at) or not view.possible:
        return {}
    names = [*view.possible, *ALWAYS]
    if not may(request.user, Act.CLOSE_ACTION, at):
        names = [name for name in names if name != "close"]
    initial = {
        "watch": {"effective_on": site_day(at), "units_wanted": units},
        "explain": {"whys": "\n".join(view.whys), "cause": view.cause},
    }
    made = {name: FORMS[name](auto_id=f"{name}_%s", initial=initial.get(name)) for name in names if name in FORMS}
    return made | ({"agree": django_forms.Form(auto_id="agree_%s")} if "agree" in names else {})
