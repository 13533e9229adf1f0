"""The language of the floor: the one that the person chose, so that it follows the badge.

English stands in the code. The office stays English, also Django's own sentences in its forms. What a tablet asks of
the API is answered in the person's language too; while nobody has signed in, in the language of the tablet's page.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import translation

from qcapp.lib.spoken import OTHERS, SOURCE, catalogue, language_of
from qcapp.people.tablet_guard import ALLOWED

__all__ = ["OTHERS", "SOURCE", "FloorLanguageMiddleware", "language_of", "words_of"]


class FloorLanguageMiddleware:
    """Speaks the person's language where the floor asks, and English everywhere else."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            return self.get_response(request)
        finally:
            translation.deactivate()

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        """Chooses the language once the page is known."""
        match = request.resolver_match
        if match is None:
            return
        if match.app_name == "capture":
            translation.activate(language_of(request.user))
        elif match.app_name == "api" and match.view_name in ALLOWED:
            translation.activate(_asked_in(request))


def _asked_in(request: HttpRequest) -> str:
    if request.user.is_authenticated:
        return language_of(request.user)
    asked = request.headers.get("Accept-Language", "")[:2]
    return asked if asked in OTHERS else SOURCE


def words_of(code: str) -> dict[str, str]:
    """What the scripts of the floor pages say in a language, by the English that stands in them."""
    return catalogue(code, "djangojs")
