"""The public check: is this paper or file real, and does it still stand? Tells only what the holder has in hand."""

from __future__ import annotations

from datetime import timedelta
from http import HTTPStatus
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from qcapp.core.errors import NotFound
from qcapp.lib.middleware import client_address
from qcapp.people.access import public
from qcapp.people.services import take_a_turn

from .content_schema import content_schema
from .forms import CheckForm
from .queries import check_token, published_keys
from .services.checking import check_pdf

PAGE = "certificates/check.html"
TURNS = timedelta(minutes=10)
MOST_LOOKS, MOST_FILES = 120, 30  # by one address, in that time


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
@public
def check_file(request: HttpRequest) -> HttpResponse:
    """The page to drop a PDF on, and what is said about the one dropped. It is read, answered and forgotten."""
    if request.method != "POST":
        _count(request, "check page", MOST_LOOKS)
        return _page(request, form=CheckForm())
    _count(request, "check file", MOST_FILES)
    form = CheckForm(request.POST, request.FILES)
    if not form.is_valid():
        return _page(request, HTTPStatus.BAD_REQUEST, form=form)
    found = check_pdf(form.cleaned_data["file"].read())
    return _page(request, form=CheckForm(), found=found, card=found.card)


@never_cache
@require_safe
@public
def check(request: HttpRequest, token: str) -> HttpResponse:
    """The address in a paper's QR code."""
    _count(request, "check page", MOST_LOOKS)
    try:
        card = check_token(token)
    except NotFound as error:
        return _page(request, HTTPStatus.NOT_FOUND, form=CheckForm(), problem=error.message)
    return _page(request, form=CheckForm(), card=card)


@require_safe
@public
def content_schema_page(request: HttpRequest) -> HttpResponse:
    """The JSON Schema of what certificates say; it tells nothing about any of them."""
    return JsonResponse(content_schema(), json_dumps_params={"indent": 2}, content_type="application/schema+json")


def _count(request: HttpRequest, what: str, most: int) -> None:
    take_a_turn(what=what, address=client_address(request), at=timezone.now(), most=most, per=TURNS)


def _page(request: HttpRequest, status: int = HTTPStatus.OK, **context: Any) -> HttpResponse:
    return render(request, PAGE, context | {"keys": published_keys()}, status=status)
