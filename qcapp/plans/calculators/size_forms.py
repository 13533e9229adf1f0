"""How the page "Limits" asks for the limits of a size: a form for each standard."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from django import forms as django_forms
from django.core.exceptions import ValidationError

from qcapp.core.metrology import fits
from qcapp.core.metrology.general_tolerances import TABLES, Standard
from qcapp.core.metrology.quantities import as_text
from qcapp.lib.typed_numbers import NumberField

from . import sizes
from .forms import PartForm, choice
from .sizes import Wanted

STANDARDS = (
    ("iso286", "ISO 286, class of a hole or shaft"),
    ("iso13920", "ISO 13920, welded constructions"),
    ("iso2768", "ISO 2768, general tolerances"),
    ("drawn", "As written on the drawing"),
)
GENERAL: dict[str, Standard] = {"iso13920": "ISO 13920", "iso2768": "ISO 2768"}
_BROKEN_EDGE, _ANGLE, _OFFSET = "broken edge", "angle", "angle offset"
_KIND_LABELS = {"linear": "size or distance", _OFFSET: "angle, as offset in mm", _BROKEN_EDGE: "broken edge or radius"}
GRADES_SHOWN = ("5", "6", "7", "8", "9", "10", "11", "12")
VALUE_FIELDS = ("value", "expanded_uncertainty")


class SizeForm(PartForm):
    """The fields that every way to ask for the limits of a size has."""

    shaping: tuple[str, ...] = ("standard",)
    standard = choice("Standard", STANDARDS)
    field_order = ["standard", "kind", "size", "unit_of_measure", "nominal", "notation", "letter", "value"]
    value = NumberField(label="Value", required=False)
    expanded_uncertainty = NumberField(label="Uncertainty U", required=False)

    @property
    def about_size(self) -> list[django_forms.BoundField]:
        """The fields that say which limits are meant."""
        return [field for field in self.visible_fields() if field.name not in VALUE_FIELDS]

    @property
    def about_value(self) -> list[django_forms.BoundField]:
        """The fields of a value to be judged."""
        return [self[name] for name in VALUE_FIELDS]

    def wanted(self, values: dict[str, Any]) -> Wanted:
        """The notation and its size that the fields mean."""
        raise TypeError(f"{type(self).__name__} means nothing.")

    def choices_beside(self, values: dict[str, Any]) -> list[tuple[Wanted, dict[str, str]]]:
        """The other classes of the same table, each with the fields that would ask for it."""
        return []

    def ask(self, values: dict[str, Any]) -> sizes.Sized:
        wanted = self.wanted(values)
        self.beside = sizes.neighbours(self.choices_beside(values), wanted.notation)
        return sizes.sized(wanted, value=values["value"], expanded_uncertainty=values["expanded_uncertainty"])

    def _query(self, **changed: str) -> dict[str, str]:
        return {name: str(self.data.get(name, "")) for name in self.fields} | changed


class HoleShaftForm(SizeForm):
    """A class of ISO 286."""

    size = NumberField(label="Size")
    unit_of_measure = choice("Unit", ("mm", "in"))
    notation = django_forms.CharField(label="Class", max_length=5, help_text="H7, JS9 for holes; g6, js9 for shafts.")
    field_order = ["standard", "size", "unit_of_measure", "notation", "value"]

    def wanted(self, values: dict[str, Any]) -> Wanted:
        return Wanted(values["size"], values["notation"], values["unit_of_measure"])

    def clean_notation(self) -> str:
        """A class and nothing else, so that 30 with +0.2 is not taken for one of ISO 286."""
        notation = str(self.cleaned_data["notation"]).strip()
        if not fits.is_class(notation):
            raise ValidationError("A class is a letter and a grade, as in H7 or g6.", code="class_unknown")
        return notation

    def choices_beside(self, values: dict[str, Any]) -> list[tuple[Wanted, dict[str, str]]]:
        letter = values["notation"].strip("0123456789")
        classes = [letter + grade for grade in GRADES_SHOWN]
        return [
            (Wanted(values["size"], name, values["unit_of_measure"]), self._query(notation=name)) for name in classes
        ]


class GeneralForm(SizeForm):
    """A class of ISO 13920 or ISO 2768 for a kind of feature; form zones and angles go by a length in mm."""

    shaping = ("standard", "kind")
    kind = choice("What is limited", ())
    size = NumberField(label="Size")
    unit_of_measure = choice("Unit", ("mm", "in"))
    nominal = NumberField(label="Nominal angle, °", required=False)
    letter = choice("Class", ())

    def __init__(self, data: Mapping[str, str], part: str) -> None:
        super().__init__(data, part)
        self.of = GENERAL[str(data["standard"])]
        kinds = [kind for standard, kind in TABLES if standard == self.of]
        self.kind_now = data.get("kind", "") if data.get("kind") in kinds else kinds[0]
        self.data = {**data, "kind": self.kind_now}
        self._offer("kind", [(kind, _KIND_LABELS.get(kind, kind)) for kind in kinds])
        self._shape()

    def _shape(self) -> None:
        """Leave only the fields that this kind goes by."""
        table = TABLES[self.of, self.kind_now]
        letters = list(dict.fromkeys(letter for row in table.rows for letter in row.cells))
        self.letters = letters
        self._offer("letter", [(letter, letter) for letter in letters])
        if self.data.get("letter") not in letters:
            self.data = {**self.data, "letter": letters[min(1, len(letters) - 1)]}
        if not table.size_of:
            del self.fields["size"]
        elif not self.sized:
            self.fields["size"].label = f"{table.size_of.capitalize()}, mm"
        if self.kind_now != _ANGLE:
            del self.fields["nominal"]
        if not self.sized:
            del self.fields["unit_of_measure"]

    def _offer(self, name: str, choices: list[tuple[str, str]]) -> None:
        field = self.fields[name]
        assert isinstance(field, django_forms.ChoiceField)  # noqa: S101 - for the type checker
        field.choices = choices

    @property
    def sized(self) -> bool:
        """Whether the limits stand around the size itself; otherwise the size only picks the row."""
        return self.kind_now in ("linear", _BROKEN_EDGE)

    def wanted(self, values: dict[str, Any]) -> Wanted:
        return self._with(values["letter"], values)

    def choices_beside(self, values: dict[str, Any]) -> list[tuple[Wanted, dict[str, str]]]:
        return [(self._with(letter, values), self._query(letter=letter)) for letter in self.letters]

    def _with(self, letter: str, values: dict[str, Any]) -> Wanted:
        named = f"{self.of}-{letter}"
        if self.kind_now == "linear":
            return Wanted(values["size"], named, values["unit_of_measure"])
        if self.kind_now == _BROKEN_EDGE:
            return Wanted(values["size"], f"{named} {_BROKEN_EDGE}", values["unit_of_measure"])
        length = f" {as_text(values['size'])}" if "size" in values else ""
        if self.kind_now in (_ANGLE, _OFFSET):
            unit = "°" if self.kind_now == _ANGLE else "mm"
            return Wanted(values.get("nominal") or Decimal(0), f"{named} {_ANGLE}{length}", unit)
        return Wanted(None, f"{named} {self.kind_now}{length}", "mm")


class DrawnForm(SizeForm):
    """Any notation of a drawing."""

    wide = (*SizeForm.wide, "notation")
    size = NumberField(label="Nominal", required=False)
    unit_of_measure = choice("Unit", sizes.UNITS_OF_MEASURE)
    notation = django_forms.CharField(
        label="Tolerance as written", max_length=60, help_text="±0.2, +0.3/-0.1, max 0.5, 25.0 to 25.4, flatness 0.4"
    )
    field_order = ["standard", "size", "unit_of_measure", "notation", "value"]

    def wanted(self, values: dict[str, Any]) -> Wanted:
        return Wanted(values["size"], values["notation"], values["unit_of_measure"])


def size_form(data: Mapping[str, str], part: str) -> SizeForm:
    """The form of the standard that was picked."""
    standard = data.get("standard", "")
    if standard not in dict(STANDARDS):
        data = {**data, "standard": STANDARDS[0][0]}
    forms_of: dict[str, type[SizeForm]] = {"drawn": DrawnForm, "iso2768": GeneralForm, "iso13920": GeneralForm}
    return forms_of.get(str(data["standard"]), HoleShaftForm)(data, part)
