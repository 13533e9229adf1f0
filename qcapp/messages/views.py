"""The inbox, what to get by e-mail as well, and what could not be delivered."""

from __future__ import annotations

from django.conf import settings
from django.contrib import messages as notices
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from qcapp.core.errors import Invalid
from qcapp.lib.spoken_drawings import shown_drawing
from qcapp.people.access import needs, safe_next, signed_in
from qcapp.people.queries import may
from qcapp.people.roles import Act

from .kinds import Kind
from .queries import inbox, mail_counts, mail_kinds, undelivered
from .services import choose_mail, mark_read
from .services.delivering import try_again


@require_safe
@signed_in
def inbox_page(request: HttpRequest) -> HttpResponse:
    """My messages, the latest first."""
    unread_only = request.GET.get("show") == "unread"
    found = inbox(request.user, unread_only=unread_only, before=_key(request.GET.get("before", "")))
    rows = [(one, shown_drawing(one.picture)) for one in found.messages]
    context = {"inbox": found, "rows": rows, "unread_only": unread_only, "first": "before" not in request.GET}
    context["keeps_mail"] = may(request.user, Act.KEEP_MAIL, timezone.now())
    return render(request, "messages/inbox.html", context)


@require_POST
@signed_in
def open_message(request: HttpRequest, message_id: int) -> HttpResponse:
    """Read one message and go where it leads."""
    link = mark_read(by=request.user, message_id=message_id, at=timezone.now())
    return redirect(safe_next(request, link, "/messages/") if link else "/messages/")


@require_POST
@signed_in
def read_all(request: HttpRequest) -> HttpResponse:
    """Everything read."""
    mark_read(by=request.user, at=timezone.now())
    return redirect("messages:inbox")


@require_http_methods(["GET", "HEAD", "POST"])
@signed_in
def mail(request: HttpRequest) -> HttpResponse:
    """Which messages come by e-mail as well."""
    if request.method == "POST":
        choose_mail(by=request.user, kinds=request.POST.getlist("kinds"), at=timezone.now())
        notices.success(request, "Your choice is kept.", extra_tags="in")
        return redirect("messages:mail")
    chosen = mail_kinds(request.user)
    context = {
        "kinds": [(kind.value, kind.label, kind in chosen) for kind in Kind],
        "address": request.user.email,
        "sends_mail": settings.QCAPP_SENDS_MAIL,
    }
    return render(request, "messages/mail.html", context)


@require_safe
@needs(Act.KEEP_MAIL)
def outbox(request: HttpRequest) -> HttpResponse:
    """E-mails that the mail server did not take."""
    context = {"rows": undelivered(), "counts": mail_counts(), "sends_mail": settings.QCAPP_SENDS_MAIL}
    return render(request, "messages/outbox.html", context)


@require_POST
@needs(Act.KEEP_MAIL)
def again(request: HttpRequest, message_id: int) -> HttpResponse:
    """Try one at the next run."""
    try_again(by=request.user, message_id=message_id, at=timezone.now())
    notices.success(request, "It is tried again at the next run.", extra_tags="in")
    return redirect("messages:outbox")


def _key(text: str) -> int | None:
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) < 19):
        raise Invalid("page_unknown", "There is no such page of messages; go back to the first.")
    return int(text)
