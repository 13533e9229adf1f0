"""The inspection certificate of a lot: what it rests on, the signed act, and the issues so far."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from qcapp.core.errors import QcError
from qcapp.lib.middleware import client_address
from qcapp.lib.refusals import refusal_status
from qcapp.people.access import needs
from qcapp.people.queries import acts_of
from qcapp.people.roles import Act
from qcapp.people.services import prove_identity

from .forms import LotForm
from .lot_queries import lot_standing
from .services.lots import certify_lot


@require_http_methods(["GET", "HEAD", "POST"])
@needs(Act.LOOK_AT_GOODS, post=Act.SIGN_LOT_CERTIFICATE)
@sensitive_post_parameters("pin")
def lot_certificate(request: HttpRequest, code: str) -> HttpResponse:
    """The page of one lot's certificate."""
    person: Any = request.user  # `needs` lets nobody else in
    at = timezone.now()
    held = acts_of(person, at)
    form, status = LotForm(), HTTPStatus.OK
    if request.method == "POST":
        form, status = LotForm(request.POST), HTTPStatus.BAD_REQUEST
        if form.is_valid():
            told = form.cleaned_data
            pin = told.pop("pin")
            try:
                address = client_address(request)
                proof = prove_identity(person=person, secret=pin, method="pin", at=at, address=address)
                card = certify_lot(proof=proof, lot_code=code, at=at, **told)
            except QcError as refusal:
                form.add_error(None, refusal.message)
                status = HTTPStatus(refusal_status(refusal))
            else:
                messages.success(request, f"{card.number} issue {card.issue} is signed.", extra_tags="in")
                return redirect("certificates:lot", code=card.serial)
    state = lot_standing(code)
    context = {
        "state": state,
        "lot": state.lot,
        "form": form if Act.SIGN_LOT_CERTIFICATE in held and not state.against else None,
        "may_get": Act.GET_CERTIFICATE in held,
    }
    return render(request, "certificates/lot.html", context, status=status)
