"""The language of a page: the one that the person chose, on the floor and in the office.

English stands in the code and in the templates. The floor and what else is met on a tablet (`lib.on_tablets`) speak
every language of the site, the other pages of the office English and German. What a tablet asks of the API is answered
in the person's language too. While nobody has signed in, a page comes in the language that the browser asks for.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.cache import patch_vary_headers

from qcapp.lib.spoken import ASKED, OTHERS, SOURCE, catalogue, language_for, language_of
from qcapp.people.tablet_guard import ALLOWED

__all__ = ["OTHERS", "SOURCE", "LanguageMiddleware", "language_of", "words_of"]


class LanguageMiddleware:
    """Speaks the person's language on pages and where a tablet asks; programs are answered in English."""

    SILENT = frozenset({"api", "health"})  # read by programs, and the latter also while the database is away

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        try:
            response = self.get_response(request)
        finally:
            translation.deactivate()
        if ASKED in request.META:
            patch_vary_headers(response, ["Accept-Language"])
        return response

    def process_view(self, request: HttpRequest, view: Any, args: Any, kwargs: Any) -> None:
        """Chooses the language once the page is known."""
        match = request.resolver_match
        if match is None:
            return
        if match.app_name == "capture":
            translation.activate(language_of(request.user))
        elif match.app_name not in self.SILENT or match.view_name in ALLOWED:
            translation.activate(language_for(request, match.view_name))


def words_of(code: str) -> dict[str, str]:
    """What the scripts of the floor pages say in a language, by the English that stands in them."""
    return catalogue(code, "djangojs")
