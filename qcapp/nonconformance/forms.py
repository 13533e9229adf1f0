"""What people fill in about a report. Forms read and check; services decide and write."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django import forms

from qcapp.lib.typed_numbers import NumberField

from .models import Report
from .services.by_hand import Photo
from .states import MAY_DECIDE, Disposition, Method

DISPOSITIONS = [(d.value, d.label) for d in Disposition]
Choices = Sequence[tuple[str, str]]


class PinField(forms.CharField):
    """A PIN: never shown again, never kept."""

    def __init__(self, **options: Any) -> None:
        attrs = {"inputmode": "numeric", "autocomplete": "off", "class": "pin"}
        super().__init__(label="Your PIN", max_length=6, widget=forms.PasswordInput(attrs=attrs), **options)


class TextField(forms.CharField):
    """Some lines of text."""

    def __init__(self, *, rows: int = 3, **options: Any) -> None:
        super().__init__(max_length=600, widget=forms.Textarea(attrs={"rows": rows}), **options)


class LinesField(TextField):
    """Several lines; gives those that are not empty."""

    def clean(self, value: Any) -> list[str]:
        return [line for line in super().clean(value).splitlines() if line.strip()]


class ContainForm(forms.Form):
    note = TextField(label="What was done at once so that nothing goes on")
    good_needed = forms.IntegerField(
        label="Good units in a row that end the watch", required=False, min_value=1, max_value=999,
        help_text="Until then every further unit is among the suspects. Leave empty if the fault is this unit's alone.",
    )  # fmt: skip


class FinishForm(forms.Form):
    note = TextField(label="What was done")


class FailForm(forms.Form):
    note = TextField(label="What was found")


class StartForm(forms.Form):
    note = forms.CharField(label="Note", max_length=600, required=False)


PART = "part_"  # a lot is split: one quantity per disposition
# What belongs to some dispositions only; the page shows each group with those.
OF_THE_CORRECTION = ("steps", "method", "procedure", "max_attempts", "reinspect", "left_out_reason")
OF_THE_CONCESSION = ("concession_lower", "concession_upper", "ends_on", "units_at_most", "permit", "serials")
METHODS = [("", "other, or none"), *((one.value, one.label) for one in Method)]


class ProposeForm(forms.Form):
    """`checkpoints` are the unit's own, to choose from; `permits` those that allow it; `quantity` that of a lot."""

    disposition = forms.ChoiceField(label="Disposition", choices=DISPOSITIONS)
    instruction = TextField(label="Instruction, or the reason it may stay")
    cause = forms.ChoiceField(label="Cause", choices=Report.Cause.choices, initial=Report.Cause.UNKNOWN)
    steps = LinesField(
        label="Steps to confirm on the floor", required=False, rows=4,
        help_text="One to a line. Without any, the instruction is the one step.",
    )  # fmt: skip
    method = forms.ChoiceField(label="Method of the correction", choices=METHODS, required=False)
    procedure = forms.CharField(
        label="Welding coordinator's procedure", max_length=60, required=False,
        help_text="Needed for re-welding and cold straightening.",
    )  # fmt: skip
    max_attempts = forms.IntegerField(label="Attempts at most", required=False, min_value=1, max_value=9)
    reinspect = forms.MultipleChoiceField(
        label="Inspect again after the correction",
        required=False,
        widget=forms.SelectMultiple(attrs={"size": 8}),
        help_text="Chosen are the failed one and what it may have disturbed. Hold Ctrl to choose more.",
    )
    left_out_reason = forms.CharField(
        label="Why a disturbed dimension is not inspected again", max_length=300, required=False
    )
    concession_lower = NumberField(
        required=False,
        label="Concession, lower limit",
        help_text="For use as is and repair. Left out, the plan's limit stays.",
    )
    concession_upper = NumberField(required=False, label="Concession, upper limit")
    ends_on = forms.DateField(
        label="Concession, last day", required=False, widget=forms.DateInput(attrs={"type": "date"})
    )
    units_at_most = forms.IntegerField(
        label="Concession, for so many units", required=False, min_value=1,
        help_text="Those of this report among them. Left out, it is for these units alone.",
    )  # fmt: skip
    permit = forms.ChoiceField(label="Permit or concession that allows it already", required=False)

    def __init__(
        self,
        *args: Any,
        checkpoints: Choices = (),
        permits: Choices = (),
        quantity: int | None = None,
        serials: Sequence[str] = (),
        **options: Any,
    ) -> None:
        super().__init__(*args, **options)
        self.fields["reinspect"].choices = checkpoints  # type: ignore[attr-defined]  # a choice field, see above
        self.fields["permit"].choices = [("", "none"), *permits]  # type: ignore[attr-defined]
        if not permits:
            del self.fields["permit"]
        if len(serials) > 1:
            self.fields["serials"] = forms.MultipleChoiceField(
                label="Conceded units, one by one where critical", required=False,
                choices=[(one, one) for one in serials], widget=forms.CheckboxSelectMultiple(),
            )  # fmt: skip
        if quantity is not None:
            del self.fields["disposition"], self.fields["reinspect"], self.fields["left_out_reason"]
            for one in Disposition:
                label = f"{one.label.capitalize()}, pieces of {quantity}"
                # By a blank placeholder the page's style sees whether the field is filled.
                counted = forms.NumberInput(attrs={"placeholder": " "})
                self.fields[PART + one.value] = forms.IntegerField(
                    label=label, required=False, min_value=0, widget=counted
                )
            self.order_fields([PART + one.value for one in Disposition])

    @property
    def decided(self) -> list[forms.BoundField]:
        """The fields of every disposition."""
        return [one for one in self if one.name not in OF_THE_CORRECTION + OF_THE_CONCESSION]

    @property
    def correction(self) -> list[forms.BoundField]:
        """What rework and repair ask besides."""
        return [self[name] for name in OF_THE_CORRECTION if name in self.fields]

    @property
    def concession(self) -> list[forms.BoundField]:
        """What use as is and repair ask besides."""
        return [self[name] for name in OF_THE_CONCESSION if name in self.fields]

    def clean(self) -> dict[str, Any]:
        """The quantities of a split lot become one entry `parts`."""
        data = dict(super().clean() or {})
        given = {name: data.pop(name) for name in list(data) if name.startswith(PART)}
        parts = {name.removeprefix(PART): count for name, count in given.items() if count}
        return data | ({"parts": parts} if parts else {})


class SignForm(forms.Form):
    """`roles` are those whose signatures are missing; `proposal` is the one that was read before signing."""

    proposal_id = forms.IntegerField(widget=forms.HiddenInput)
    role = forms.ChoiceField(label="Sign as")
    pin = PinField()

    def __init__(self, *args: Any, roles: Choices = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["role"].choices = roles  # type: ignore[attr-defined]  # a choice field, see above


class CloseForm(forms.Form):
    corrective_action = TextField(label="What stops it from coming back, or why nothing is needed")
    action_number = forms.CharField(label="Number of the corrective action", max_length=40, required=False)
    pin = PinField()


class StepForm(forms.Form):
    position = forms.IntegerField(widget=forms.HiddenInput)
    note = forms.CharField(max_length=300, required=False)


class PhotoField(forms.FileField):
    """A photo that may be left out, as its bytes and name."""

    def __init__(self) -> None:
        super().__init__(label="Photo", required=False, help_text="JPEG, PNG or WebP; further ones later.")

    def clean(self, data: Any, initial: Any = None) -> Photo | None:
        sent = super().clean(data, initial)
        return Photo(sent.read(), sent.name) if sent else None


class PictureForm(forms.Form):
    photo = forms.FileField(label="Photo", help_text="JPEG, PNG or WebP.")
    caption = forms.CharField(label="What it shows", max_length=160, required=False)
    mark_x = NumberField(required=False, label="Mark, from the left in per cent")
    mark_y = NumberField(required=False, label="Mark, from the top in per cent")


class UnitsForm(forms.Form):
    serials = LinesField(label="Serial numbers", rows=4, help_text="One to a line.")
    reason = forms.CharField(label="Why they belong to this report", max_length=300)


class CustomerForm(forms.Form):
    reference = forms.CharField(label="What the customer wrote, with date and sender", max_length=120)


class DestroyForm(forms.Form):
    how = forms.CharField(label="How the number was destroyed", max_length=300)
    pin = PinField()


class ReturnForm(forms.Form):
    supplier = forms.CharField(label="Supplier", max_length=120)
    delivery = forms.CharField(label="Delivery or order", max_length=80, required=False)
    text = TextField(label="What is wrong and what is asked for")


class LiftForm(forms.Form):
    reason = forms.CharField(label="Why it may go on", max_length=300)
    pin = PinField()


class DecidersForm(forms.Form):
    severity = forms.ChoiceField(label="Severity", choices=Report.Severity.choices)
    disposition = forms.ChoiceField(label="Disposition", choices=DISPOSITIONS)
    roles = forms.MultipleChoiceField(
        label="Who signs", choices=[(role, role.replace("_", " ")) for role in sorted(MAY_DECIDE)],
        widget=forms.CheckboxSelectMultiple(),
    )  # fmt: skip
    reason = forms.CharField(label="Why the table changes", max_length=300)


class PermitForm(forms.Form):
    family_code = forms.CharField(label="Part family", max_length=20)
    checkpoint_key = forms.CharField(label="Checkpoint number", max_length=60)
    lower = NumberField(required=False, label="Lower limit", help_text="Left out, the plan's limit stays.")
    upper = NumberField(required=False, label="Upper limit")
    statement = TextField(label="What is permitted, and why it does no harm")
    serials = LinesField(label="For these units", required=False, help_text="One serial number to a line.")
    quantity = forms.IntegerField(label="For so many units", required=False, min_value=1)
    ends_on = forms.DateField(label="Last day", required=False, widget=forms.DateInput(attrs={"type": "date"}))
    customer_approval = forms.CharField(
        label="Customer's approval, where the order asks", max_length=120, required=False
    )


class SignPermitForm(forms.Form):
    role = forms.ChoiceField(
        label="Sign as", choices=[("engineer", "engineer"), ("quality_manager", "quality manager")]
    )
    pin = PinField()


class GroupForm(forms.Form):
    serials = LinesField(label="Serial numbers", rows=6, help_text="One to a line.")
    title = forms.CharField(label="What is wrong, in one line", max_length=160)
    description = TextField(label="More about it", required=False, rows=4)
    severity = forms.ChoiceField(label="Severity", choices=Report.Severity.choices, initial=Report.Severity.MAJOR)
    cause = forms.ChoiceField(label="Cause", choices=Report.Cause.choices, initial=Report.Cause.MEASUREMENT)
    source = forms.CharField(
        label="What brought it about", max_length=80, required=False, help_text="gauge CA-03, plan FR-200 E"
    )


class LotForm(forms.Form):
    lot_code = forms.CharField(label="Lot, as on its label", max_length=36)
    quantity = forms.IntegerField(
        label="Pieces", required=False, min_value=1, help_text="Left out, it is about every piece of the lot."
    )
    title = forms.CharField(label="What is wrong, in one line", max_length=160)
    description = TextField(label="More about it", required=False, rows=4)
    severity = forms.ChoiceField(label="Severity", choices=Report.Severity.choices, initial=Report.Severity.MAJOR)
    cause = forms.ChoiceField(label="Cause", choices=Report.Cause.choices, initial=Report.Cause.UNKNOWN)
    photo = PhotoField()


class MarkForm(forms.Form):
    """A place on one of the `sheets`, in per cent of its width and height."""

    sheet = forms.ChoiceField(label="Sheet")
    across = NumberField(required=False, label="From the left, in per cent")
    down = NumberField(required=False, label="From the top, in per cent")
    further = forms.BooleanField(label="A further place: the marks already set stay", required=False)

    def __init__(self, *args: Any, sheets: Choices = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["sheet"].choices = sheets  # type: ignore[attr-defined]  # a choice field, see above
        for name in ("across", "down"):
            self.fields[name].required = True
            self.fields[name].error_messages["required"] = "Click on the drawing, or say how far it is."

    @property
    def place(self) -> dict[str, Any]:
        """The place as fractions of the sheet, once the form is valid."""
        data = self.cleaned_data
        place = {"sheet": UUID(data["sheet"]), "x": data["across"] / 100, "y": data["down"] / 100}
        return place | {"further": data["further"]}


class WithdrawForm(forms.Form):
    reason = forms.CharField(label="Why it was raised in error", max_length=300)
    pin = PinField()


class RaiseForm(forms.Form):
    serial = forms.CharField(label="Serial number", max_length=60)
    checkpoint_key = forms.CharField(
        label="Checkpoint number", max_length=60, required=False, help_text="If it is about one of the plan's."
    )
    title = forms.CharField(label="What is wrong, in one line", max_length=160)
    description = TextField(label="More about it", required=False, rows=4)
    severity = forms.ChoiceField(
        label="Severity", choices=[*Report.Severity.choices, ("", "as the checkpoint says")], required=False,
        initial=Report.Severity.MAJOR,
    )  # fmt: skip
    joint = forms.CharField(label="Joint", max_length=12, required=False, help_text="W7, where it is about one.")
    cause = forms.ChoiceField(label="Cause", choices=Report.Cause.choices, initial=Report.Cause.UNKNOWN, required=False)
    photo = PhotoField()
    separately = forms.BooleanField(
        label="It stands for itself", required=False,
        help_text="Choose this when the same was reported on other units and this one is another matter.",
    )  # fmt: skip

    def clean_cause(self) -> str:
        return self.cleaned_data["cause"] or str(Report.Cause.UNKNOWN)
