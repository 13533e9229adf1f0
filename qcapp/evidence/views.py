"""Handing out evidence files so that nothing in them can act in the page's name."""

from __future__ import annotations

from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.views.decorators.http import require_safe

from qcapp.core.errors import NotFound
from qcapp.people.access import needs
from qcapp.people.roles import Act

from . import queries
from .services.reading import smaller

SMALL = 480  # pixels: a picture in a list, sharp on a tablet


@needs(Act.LOOK_UP_UNIT)
@require_safe
def file(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """The kept bytes: a picture to show in a page, a document to save."""
    card = queries.card(uuid)
    return _sealed(queries.content(uuid), card.media_type, card.name, shown=card.is_picture)


@needs(Act.LOOK_UP_UNIT)
@require_safe
def small(request: HttpRequest, uuid: UUID) -> HttpResponse:
    """A picture made small for a list; drawings that are not made of pixels come whole."""
    card = queries.card(uuid)
    if not card.is_picture:
        raise NotFound("evidence_no_picture", "This file is a document and has no small picture. Open the document.")
    whole = queries.content(uuid)
    if card.width is None:
        return _sealed(whole, card.media_type, card.name, shown=True)
    return _sealed(smaller(whole, SMALL), "image/jpeg", "small.jpg", shown=True)


def _sealed(content: bytes, media_type: str, name: str, *, shown: bool) -> HttpResponse:
    """The sandbox holds a drawing or document that is opened by itself: no script, no form, no address of ours."""
    answer = HttpResponse(content, content_type=media_type)
    kind = "inline" if shown else "attachment"
    plain = "".join(c if c.isascii() and (c.isalnum() or c in "-_.") else "_" for c in name)
    answer.headers["Content-Disposition"] = f'{kind}; filename="{plain}"'
    answer.headers["Content-Security-Policy"] = "default-src 'none'; style-src 'unsafe-inline'; sandbox"
    answer.headers["X-Content-Type-Options"] = "nosniff"
    return answer
