"""What goods-in and the floor type; the services have the last word."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from uuid import UUID

from django import forms
from django.core.exceptions import ValidationError

from qcapp.core.errors import Invalid
from qcapp.core.materials import grades
from qcapp.core.materials.tables import COMPOSITION, MECHANICAL, OTHER_SPECIFICATIONS
from qcapp.lib.typed_numbers import NumberField, refuse_thousands
from qcapp.nonconformance.services.by_hand import Photo
from qcapp.production.queries import families

from .checking import MATING_GRADE
from .queries.verifying import demands

ELEMENTS = ("C", "Mn", "P", "S", "Si", "Cr", "Mo", "Ni", "Cu", "V")
SPECIFICATIONS = tuple(dict.fromkeys(row.specification for row in (*COMPOSITION, *OTHER_SPECIFICATIONS)))
LINES = 4  # to fill in on the page of a delivery
LINE = (
    ("description", "Description", 120), ("quantity", "Quantity", 24), ("unit_of_measure", "Unit of measure", 12),
    ("heat", "Heat", 40), ("family", "Family", 0),
)  # fmt: skip
VERDICTS = [("accepted", "accepted"), ("held", "held"), ("refused", "refused")]
LINKS = [
    ("delivered_with", "delivered with the unit"),
    ("trial_fitted", "trial-fitted"),
    ("welded_in", "welded in for good"),
]
MARKS = [("tag", "stamped tag"), ("serial", "serial stamped"), ("vin", "VIN stamped")]
PROCESSES = [("plating", "plating"), ("coating", "coating"), ("heat_treatment", "heat treatment")]


def text(label: str, longest: int = 80, **options: Any) -> forms.CharField:
    """A line of text as it is typed or scanned."""
    return forms.CharField(label=label, max_length=longest, **options)


def pin() -> forms.CharField:
    """The PIN of whoever signs."""
    widget = forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "class": "pin"})
    return forms.CharField(label="Your PIN", max_length=64, strip=False, widget=widget)


def _of_one_meaning(number: str) -> None:
    """Raises ValidationError `value_thousands` for a number such as 1.050, which German papers mean as 1050."""
    try:
        refuse_thousands(number)
    except Invalid as refusal:
        raise ValidationError(refusal.message, code=refusal.code) from refusal


class DeliveryForm(forms.Form):
    """A delivery with its lines: four to fill in, and more as rows of text."""

    supplier = text("Supplier")
    note_number = text("Delivery note", 40)
    order_number = text("Our order", 40, required=False)
    lines = forms.CharField(
        label="More lines", widget=forms.Textarea(attrs={"rows": 4}), max_length=6000, required=False,
        help_text="One a row: description; quantity; unit of measure; heat; family. Such as: tube 38.1 × 2.11; 48,5; "
        "m; H4711.",
    )  # fmt: skip

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        known = [("", "–"), *((one.code, one.code) for one in families())]
        for number in range(1, LINES + 1):
            for name, label, longest in LINE:
                field = (
                    text(label, longest, required=False) if longest else forms.ChoiceField(choices=known, label=label)
                )
                field.required = False
                field.widget.attrs["aria-label"] = f"{label}, line {number}"
                self.fields[f"line{number}_{name}"] = field

    @property
    def own(self) -> list[forms.BoundField]:
        """The fields above the lines."""
        return [self["supplier"], self["note_number"], self["order_number"]]

    @property
    def rows(self) -> list[list[forms.BoundField]]:
        """The lines to fill in."""
        return [[self[f"line{number}_{name}"] for name, *_ in LINE] for number in range(1, LINES + 1)]

    def clean(self) -> dict[str, Any]:
        told = super().clean() or self.cleaned_data
        names = [name for name, *_ in LINE]
        filled = [{name: told.get(f"line{number}_{name}", "") for name in names} for number in range(1, LINES + 1)]
        typed = [row.split(";") for row in told.get("lines", "").splitlines() if row.strip()]
        more = [dict(zip(names, (cell.strip() for cell in row), strict=False)) for row in typed]
        for place, row in enumerate(filled + more):
            try:
                _of_one_meaning(row.get("quantity", ""))
            except ValidationError as refusal:
                self.add_error(f"line{place + 1}_quantity" if place < LINES else "lines", refusal)
        kept = {name: told[name] for name in ("supplier", "note_number", "order_number") if name in told}
        return kept | {"lines": [row for row in filled if any(row.values())] + more}


class CertificateForm(forms.Form):
    """A mill certificate with its first heat; FurtherHeatForm adds the others that it covers."""

    supplier = text("Supplier")
    number = text("Number of the mill certificate", 60)
    delivery_number = text("Delivery", 24, required=False)
    paper = forms.FileField(label="PDF or picture of the certificate")
    heat = text("Heat number", 40)
    grade = forms.ChoiceField(label="Grade", choices=[(name, name) for name in grades()])
    specification = forms.ChoiceField(
        label="Specification", required=False, help_text="Where the paper names one; some allow less P and S.",
        choices=[("", "not said"), *((name, name) for name in SPECIFICATIONS)],
    )  # fmt: skip
    condition = forms.ChoiceField(
        label="Condition", required=False,
        choices=[("", "not said"), *((name, name) for name in dict.fromkeys(row.condition for row in MECHANICAL))],
    )  # fmt: skip
    size = text("Size", 40, required=False)
    thickness = text("Wall, mm", 12, required=False, help_text="The thicker of the two that are welded.")
    welded_to = forms.ChoiceField(
        label="Welded to grade", required=False, initial=MATING_GRADE, choices=[(name, name) for name in grades()]
    )

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        for element in ELEMENTS:
            self.fields[f"element_{element}"] = text(f"{element}, %", 16, required=False)
        self.fields["further"] = text(
            "Further elements", 200, required=False, help_text="With semicolons, such as Al 0,025; N 80 ppm."
        )
        for name, label in (
            ("yield_MPa", "Yield strength, MPa"), ("ultimate_MPa", "Tensile strength, MPa"),
            ("elongation_2in_pct", "Elongation in 2 in, %"), ("hardness_RB", "Hardness, HRB"),
        ):  # fmt: skip
            self.fields[f"property_{name}"] = text(label, 16, required=False)

    def clean_further(self) -> dict[str, str]:
        pairs = [part.split(maxsplit=1) for part in self.cleaned_data["further"].split(";") if part.strip()]
        if any(len(pair) < 2 or pair[0] in ELEMENTS for pair in pairs) or len({pair[0] for pair in pairs}) < len(pairs):
            raise forms.ValidationError("Write each once as its symbol and value, such as Al 0,025; not those above.")
        return dict(pairs)

    def clean(self) -> dict[str, Any]:
        told = super().clean() or {}
        for name in [name for name in told if name.startswith(("element_", "property_", "thickness"))]:
            try:
                _of_one_meaning(told[name])
            except ValidationError as refusal:
                self.add_error(name, refusal)
        return told

    def heat_told(self) -> dict[str, Any]:
        """The heat as the service reads it."""
        told = self.cleaned_data
        named = ("grade", "specification", "condition", "size", "thickness", "welded_to")
        return {name: told[name] for name in named} | {
            "number": told["heat"],
            "composition": self._of("element_") | told["further"],
            "properties": self._of("property_"),
        }

    def _of(self, prefix: str) -> dict[str, str]:
        return {
            name.removeprefix(prefix): value for name, value in self.cleaned_data.items() if name.startswith(prefix)
        }


class FurtherHeatForm(CertificateForm):
    """Another heat, size or condition on a certificate that is entered; its paper is kept already."""

    delivery_number = None  # type: ignore[assignment]  # taken away from the form above
    paper = None  # type: ignore[assignment]


class DecideForm(forms.Form):
    verdict = forms.ChoiceField(label="The heat is", choices=VERDICTS)
    reason = text("Reason", 300, required=False)
    pin = pin()


class CutForm(forms.Form):
    stock = text("Bar or tube", 60)
    pieces = forms.IntegerField(label="Pieces cut", min_value=1)
    pieces_marked = forms.BooleanField(label="Every piece carries the heat mark", required=False)
    remnant = text("Remnant", 60, required=False, help_text="Left empty when nothing is left.")
    remnant_marked = forms.BooleanField(label="The remnant carries the heat mark", required=False)
    lot_code = text("For lot", 36, required=False)


class GradeForm(forms.Form):
    method = text("Method", 60)
    grade_found = text("Grade found", 20)


class DemandForm(forms.Form):
    """What is verified at issue; an empty field means any."""

    grade = forms.ChoiceField(label="Grade", required=False)
    size = text("Size", 40, required=False, help_text="As on the mill certificate, such as 38.1 × 2.11 mm.")
    family_code = forms.ChoiceField(label="For part family", required=False)
    reason = text("Why", 300)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        any_grade, any_family = [("", "any grade")], [("", "any family")]
        self.fields["grade"].choices = [*any_grade, *((name, name) for name in grades())]  # type: ignore[attr-defined]  # a choice field, see above
        of_families = ((one.code, f"{one.code} {one.name}") for one in families())
        self.fields["family_code"].choices = [*any_family, *of_families]  # type: ignore[attr-defined]  # likewise


class EndDemandForm(forms.Form):
    """One of the standing demands is asked no longer."""

    uuid = forms.ChoiceField(label="No longer verified")
    reason = text("Why not", 300)

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["uuid"].choices = [(str(one.uuid), one.what) for one in demands()]  # type: ignore[attr-defined]  # a choice field, see above


class LotForm(forms.Form):
    family_code = text("Family", 20)
    quantity = forms.IntegerField(label="Pieces", min_value=1)
    heats = text("Heats, with commas between", 200)


class SampleForm(forms.Form):
    major = text("AQL of major checkpoints, %", 8, initial="1.0")
    minor = text("AQL of minor checkpoints, %", 8, initial="2.5")
    level = text("Inspection level", 4, initial="II")
    steady = forms.BooleanField(label="Production is steady", required=False)
    reduced_wanted = forms.BooleanField(label="Reduced inspection is wanted", required=False)
    isolated = forms.BooleanField(label="An isolated lot: go by limiting quality", required=False)
    resumed = text(
        "Inspection was discontinued; what was corrected", 120, required=False,
        help_text="The quality manager alone resumes, on tightened inspection.",
    )  # fmt: skip

    def hide_resuming(self) -> None:
        """Where nothing is discontinued there is nothing to resume."""
        del self.fields["resumed"]


class PlannedSampleForm(SampleForm):
    """Where the inspection plan says the AQL, nobody types one."""

    major = None  # type: ignore[assignment]  # taken away from the form above
    minor = None  # type: ignore[assignment]


class JudgeForm(forms.Form):
    """Nothing to type: the drawn pieces' answers say it."""


class SortForm(forms.Form):
    removed = forms.IntegerField(label="Pieces taken out", min_value=0)
    remark = text("Sorted for what, how", 300)
    pin = pin()


class SendOutForm(forms.Form):
    kind = forms.ChoiceField(label="Process", choices=PROCESSES)
    supplier = text("Who does it")
    high_strength = forms.BooleanField(label="High-strength parts (baked after plating)", required=False)


class ReceiveBackForm(forms.Form):
    delivery_number = text("Delivery", 24)
    paper = forms.FileField(label="Certificate of the process")
    bake_hours = NumberField(
        label="Bake time, h", required=False, max_digits=6, min_value=0, help_text="As certified, for plated parts."
    )
    bake_temperature = NumberField(label="Bake temperature, °C", required=False, max_digits=6, min_value=0)


class InstallForm(forms.Form):
    component_serial = text("Component", 40)
    link = forms.ChoiceField(label="It is", choices=LINKS)
    place_code = text("Place", 20, required=False)


class RemoveForm(forms.Form):
    component_serial = text("Component", 40)
    reason = text("Reason", 300)


class UseForm(forms.Form):
    lot_code = text("Lot", 36, required=False)
    quantity = forms.IntegerField(label="Pieces of the lot", min_value=1, required=False)
    heat_number = text("or heat", 40, required=False)
    use = text("Used for", 80, required=False)


class MarkForm(forms.Form):
    kind = forms.ChoiceField(label="Mark", choices=MARKS)
    text = forms.CharField(label="As stamped", max_length=40)
    photo = forms.FileField(label="Photo of the stamp", required=False)
    read_back_text = forms.CharField(
        label="Another person reads the stamp: it says", max_length=40, required=False,
        help_text="For a stamped serial or VIN. Read it on the part, not on this page.",
    )  # fmt: skip
    read_back_tag = forms.CharField(label="and the tag says", max_length=40, required=False)
    read_back_badge = forms.CharField(label="That person's badge", max_length=20, required=False)
    read_back_pin = forms.CharField(
        label="and PIN", max_length=12, required=False,
        widget=forms.PasswordInput(attrs={"inputmode": "numeric", "autocomplete": "off", "class": "pin"}),
    )  # fmt: skip


class MoveForm(forms.Form):
    code = text("Unit or lot", 40, widget=forms.TextInput(attrs={"autofocus": True, "autocomplete": "off"}))
    place_code = text("Place", 20)


class PlaceForm(forms.Form):
    code = text("Code on the label", 20)
    name = text("Name", 80)


class HoldForm(forms.Form):
    reason = text("Why nothing of it may be used", 300)


class LiftForm(forms.Form):
    """One of the standing holds of a delivery."""

    hold_uuid = forms.ChoiceField(label="Hold")
    reason = text("Why it may be used again", 300)
    pin = pin()

    def __init__(self, *args: Any, holds: Sequence[tuple[str, str]] = (), **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["hold_uuid"].choices = holds  # type: ignore[attr-defined]  # a choice field, see above

    def clean_hold_uuid(self) -> UUID:
        return UUID(self.cleaned_data["hold_uuid"])


class ReportForm(forms.Form):
    """A report about what a delivery brought; `families` to choose from."""

    quantity = forms.IntegerField(label="Pieces", min_value=1)
    family_code = forms.ChoiceField(label="Meant for part family")
    title = forms.CharField(label="What is wrong, in one line", max_length=160)
    description = forms.CharField(
        label="More about it", max_length=600, required=False, widget=forms.Textarea(attrs={"rows": 3})
    )
    severity = forms.ChoiceField(
        label="Severity", choices=[(one, one) for one in ("critical", "major", "minor")], initial="major"
    )
    photo = forms.FileField(label="Photo", required=False, help_text="JPEG, PNG or WebP; further ones later.")

    def clean_photo(self) -> Photo | None:
        sent = self.cleaned_data["photo"]
        return Photo(sent.read(), sent.name) if sent else None

    def __init__(self, *args: Any, **options: Any) -> None:
        super().__init__(*args, **options)
        self.fields["family_code"].choices = [(one.code, f"{one.code} {one.name}") for one in families()]  # type: ignore[attr-defined]  # a choice field, see above
