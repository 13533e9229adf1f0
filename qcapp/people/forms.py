"""What the people's pages take. Forms validate and never save; the services have the last word."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any
from uuid import UUID

from django import forms

from .roles import DEPUTIZABLE, Role

ROLES = [(role.value, role.label) for role in Role]
DEPUTY_ROLES = [(role.value, role.label) for role in Role if role in DEPUTIZABLE]
PIN_HELP = "Six digits, no runs, no repeats, not the badge."
PASSWORD_HELP = "At least ten characters; a few unrelated words are easy to type."  # noqa: S105 - a hint


def _secret(label: str, autocomplete: str, **options: Any) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": autocomplete})
    return forms.CharField(label=label, max_length=256, strip=False, widget=widget, **options)


def _pin(label: str, **options: Any) -> forms.CharField:
    attrs = {"autocomplete": "off", "inputmode": "numeric", "class": "pin"}
    return forms.CharField(label=label, max_length=6, widget=forms.PasswordInput(attrs=attrs), **options)


def _day(label: str, **options: Any) -> forms.DateField:
    return forms.DateField(label=label, widget=forms.DateInput(attrs={"type": "date"}), **options)


class SignInForm(forms.Form):
    badge = forms.CharField(
        label="Badge",
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "username", "autofocus": True, "autocapitalize": "characters"}),
    )
    password = _secret("Password", "current-password")


class CodeForm(forms.Form):
    code = forms.CharField(
        label="Code",
        max_length=40,
        widget=forms.TextInput(
            attrs={"autocomplete": "one-time-code", "inputmode": "text", "autofocus": True, "spellcheck": "false"}
        ),
    )


class ProveForm(forms.Form):
    current = _secret("Your password", "current-password")


class OwnPasswordForm(forms.Form):
    current = _secret("Current password", "current-password")
    password = _secret("New password", "new-password", help_text=PASSWORD_HELP)
    again = _secret("New password again", "new-password")

    def clean(self) -> dict[str, Any]:
        return _same_twice(self, "password")


class OwnPinForm(forms.Form):
    current = _secret("Your password", "current-password")
    pin = _pin("New PIN", help_text=PIN_HELP)
    again = _pin("New PIN again")

    def clean(self) -> dict[str, Any]:
        return _same_twice(self, "pin")


class PersonForm(forms.Form):
    badge = forms.CharField(label="Badge", max_length=20, help_text="Never given to a second person.")
    name = forms.CharField(label="Name", max_length=120)
    initials = forms.CharField(label="Initials", max_length=6)
    stamp = forms.CharField(label="Stamp", max_length=12, required=False, help_text="The mark on welds, if any.")
    email = forms.EmailField(label="E-mail", required=False)
    joined_on = _day("First day", required=False, help_text="Today when left empty.")


class ChangedPersonForm(forms.Form):
    name = forms.CharField(label="Name", max_length=120)
    initials = forms.CharField(label="Initials", max_length=6)
    email = forms.EmailField(label="E-mail", required=False)


class RoleForm(forms.Form):
    role = forms.TypedChoiceField(label="Role", choices=ROLES, coerce=Role)
    starts_on = _day("From", required=False, help_text="Today when left empty.")


class EndRoleForm(forms.Form):
    role = forms.TypedChoiceField(choices=ROLES, coerce=Role)
    last_day = _day("Last day", required=False)


class DeputyForm(forms.Form):
    deputy = forms.CharField(label="Badge of the deputy", max_length=20)
    role = forms.TypedChoiceField(label="Stands in as", choices=DEPUTY_ROLES, coerce=Role)
    starts_on = _day("First day")
    ends_on = _day("Last day", help_text="Included.")


class EndSessionsForm(ProveForm):
    sign_ins = forms.TypedMultipleChoiceField(
        coerce=UUID, error_messages={"required": "Choose at least one session."}, widget=forms.CheckboxSelectMultiple
    )

    def __init__(self, *args: Any, open_ones: Iterable[UUID], **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["sign_ins"].choices = [(str(one), str(one)) for one in open_ones]  # type: ignore[attr-defined]


class TemporaryPinForm(forms.Form):
    pin = _pin("Temporary PIN", help_text="Signs nothing until the person has set their own.")


class LeavingForm(forms.Form):
    last_day = _day("Last day", required=False, help_text="Leave empty to end everything now.")


def _same_twice(form: forms.Form, field: str) -> dict[str, Any]:
    values: dict[str, Any] = form.cleaned_data
    if field in values and "again" in values and values[field] != values["again"]:
        form.add_error("again", "Both entries must be the same; type them again.")
    return values


class TabletForm(forms.Form):
    name = forms.CharField(label="Name", max_length=60, help_text="As it stands on the tablet's back, such as Bench 3.")
    place = forms.CharField(
        label="Place",
        max_length=60,
        required=False,
        help_text="A station's code or name, so that it lists what waits there.",
    )
