"""Pages of gauge studies: planning one, reading in it, and what it found."""

from __future__ import annotations

from http import HTTPStatus

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import NotAllowed, NotFound, QcError
from qcapp.lib.refusals import refusal_status
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.access import needs
from qcapp.people.roles import Act

from . import forms, queries, studying
from .study_picture import study_picture

SOURCE_WORDS = (
    ("repeatability", "The gauge itself: the same person again"),
    ("reproducibility", "From person to person"),
    ("interaction", "Person and part together"),
    ("gauge", "Gauge and people together"),
    ("part", "From part to part"),
    ("total", "Everything"),
)


@needs(Act.KEEP_GAUGES)
@require_http_methods(["GET", "HEAD", "POST"])
def plan(request: HttpRequest, number: str) -> HttpResponse:
    """A study to plan."""
    gauge = queries.gauge_by_number(number, timezone.now())
    form = forms.StudyForm(request.POST or None)
    status: int = HTTPStatus.OK
    if request.method == "POST":
        status = HTTPStatus.BAD_REQUEST
        if form.is_valid():
            try:
                row = studying.plan_study(by=request.user, number=gauge.number, at=timezone.now(), **form.given())
            except QcError as error:
                form.add_error(None, error.message)
                status = refusal_status(error)
            else:
                return redirect("gauges:study", number=gauge.number, study=row.pk)
    context = {"form": form, "gauge": gauge, "title": f"Plan a study of {gauge.number}"}
    return render(request, "gauges/add.html", context, status=status)


@needs(Act.LOOK_AT_GAUGES)
@require_safe
def show(request: HttpRequest, number: str, study: int) -> HttpResponse:
    """The study: how far it has come, and what it found once it is complete."""
    card = _card(number, study)
    try:
        following = studying.next_reading(study, request.user)
        reads = True
    except NotAllowed:
        following, reads = None, False
    shares = []
    if card.by_anova is not None and card.by_ranges is not None:
        other = card.by_ranges.shares
        shares = [
            (words, card.by_anova.shares[name], other.get(name))
            for name, words in SOURCE_WORDS
            if name in card.by_anova.shares
        ]
    picture = shown_drawing(study_picture(card))
    context = {"study": card, "next": following, "reads": reads, "shares": shares, "picture": picture}
    return render(request, "gauges/study.html", context)


@needs(Act.RECORD_RESULT)
@require_http_methods(["GET", "HEAD", "POST"])
def read(request: HttpRequest, number: str, study: int) -> HttpResponse:
    """The next part of this person, large; nothing that was read before is shown."""
    card = _card(number, study)
    problem, typed, status = "", "", int(HTTPStatus.OK)
    if request.method == "POST":
        typed, place = request.POST.get("value", ""), request.POST.get("place", "")
        try:
            studying.record_reading(
                by=request.user, study_id=study, value=typed, at=timezone.now(),
                place=int(place) if place.isascii() and place.isdigit() and len(place) < 6 else -1,
            )  # fmt: skip
            return redirect("gauges:read_study", number=card.gauge_number, study=study)
        except (NotFound, NotAllowed):
            raise
        except QcError as error:
            problem, status = error.message, refusal_status(error)
    following = studying.next_reading(study, request.user)
    if following is None:
        messages.success(request, "You have read every part. Thank you.", extra_tags="in")
        return redirect("gauges:study", number=card.gauge_number, study=study)
    context = {"study": card, "next": following, "problem": problem, "typed": typed}
    return render(request, "capture/study.html", context, status=status)


def _card(number: str, study: int) -> studying.StudyCard:
    card = studying.study_card(study)
    if card.gauge_number.casefold() != number.strip().casefold():
        raise NotFound("study_unknown", "There is no such gauge study; open it from its gauge.")
    return card
