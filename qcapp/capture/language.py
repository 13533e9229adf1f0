"""The language of the floor pages: the one that the person chose, so that it follows the badge.

English stands in the code. The office stays English, also Django's own sentences in its forms.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.utils import translation
from django.utils.translation.trans_real import DjangoTranslation

SOURCE = "en"
OTHERS = tuple(code for code, _ in settings.LANGUAGES if code != SOURCE)


class FloorLanguageMiddleware:
    """Speaks the person's language on the pages of this door, and English everywhere else."""

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
        if match is not None and match.app_name == "capture":
            translation.activate(language_of(request.user))


def language_of(person: Any) -> str:
    """The language that the person chose, when it is one of ours; else English."""
    chosen = getattr(person, "language", SOURCE)
    return chosen if chosen in OTHERS else SOURCE


def words_of(code: str) -> dict[str, str]:
    """What the scripts of the floor pages say in a language, by the English that stands in them."""
    found = DjangoTranslation(code, domain="djangojs", localedirs=[str(Path(settings.LOCALE_PATHS[0]))])
    catalogue: Any = found._catalog  # type: ignore[attr-defined]  # as Django's own JavaScriptCatalog reads it
    return {str(key): str(text) for key, text in catalogue.items() if isinstance(key, str) and key}
