"""What the page "Limits" takes: one form for each part, read exactly, and the answer that it asks for.

A form that validates has an `answer`; a refusal of the core becomes an error of the form, beside what was typed.
Fields named in `shaping` change which other fields there are, so the page asks for the whole part again when one
of them changes; all others ask for the answer alone, while typing.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal
from typing import Any

from django import forms
from django.core.exceptions import NON_FIELD_ERRORS, ValidationError
from django.urls import reverse_lazy

from qcapp.core.errors import Invalid, QcError
from qcapp.core.metrology import fits
from qcapp.core.metrology.general_tolerances import TABLES, Standard
from qcapp.core.metrology.quantities import as_text, parse_value

from . import carbon, fit_pair, leaks, lots, sizes, weld_limits
from .sizes import Wanted

MAX_LOT = 100_000_000


class ExactField(forms.CharField):
    """A number as it was typed, digit for digit, with a comma or a dot."""

    def __init__(self, **options: Any) -> None:
        options.setdefault("max_length", 40)
        widget = forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"})
        super().__init__(**({"widget": widget} | options))

    def clean(self, value: Any) -> Decimal | None:
        text = super().clean(value)
        if not text:
            return None
        try:
            return parse_value(text)
        except Invalid as refusal:
            raise ValidationError(refusal.message, code=refusal.code) from refusal


def _choice(label: str, choices: Any, **options: Any) -> forms.ChoiceField:
    pairs = [choice if isinstance(choice, tuple) else (choice, choice) for choice in choices]
    return forms.ChoiceField(label=label, choices=pairs, **options)


RESHAPE = {
    "hx-get": reverse_lazy("limits:page"),
    "hx-include": "closest form",
    "hx-target": "#part",
    "hx-select": "#part",
    "hx-swap": "outerHTML show:none",
    "hx-trigger": "change",
}
"""Asks for the part again, because it has other fields now."""


class PartForm(forms.Form):
    """What the forms of all parts have in common."""

    shaping: tuple[str, ...] = ()
    wide: tuple[str, ...] = ("standard", "kind", "imperfection", "level")

    def __init__(self, data: Mapping[str, str], part: str) -> None:
        super().__init__(data, auto_id=f"{part}_%s")
        self.answer: Any = None
        for name, field in self.fields.items():
            field.widget.attrs |= RESHAPE if name in self.shaping else {"class": "types"}
            field.error_messages["required"] = "Fill it in."

    def clean(self) -> dict[str, Any]:
        """The answer, if every field could be read; a refusal stands as an error of the form."""
        values = super().clean() or {}
        if not self.errors:
            try:
                self.answer = self.ask(values)
            except QcError as refusal:
                raise ValidationError(refusal.message, code=refusal.code) from refusal
        return values

    def ask(self, values: dict[str, Any]) -> Any:
        """The answer to what was typed; raises QcError."""
        raise TypeError(f"{type(self).__name__} answers nothing.")

    @property
    def problems(self) -> Iterator[tuple[str, str, str]]:
        """What stands against an answer: the field's id and label (empty for the whole form), the sentence."""
        for name, errors in self.errors.items():
            bound = None if name == NON_FIELD_ERRORS else self[name]
            for error in errors:
                yield (bound.id_for_label, str(bound.label), str(error)) if bound else ("", "", str(error))


# ------------------------------------------------------------------------------------------- limits of a size

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
    standard = _choice("Standard", STANDARDS)
    field_order = ["standard", "kind", "size", "unit_of_measure", "nominal", "notation", "letter", "value"]
    value = ExactField(label="Value", required=False)
    expanded_uncertainty = ExactField(label="Uncertainty U", required=False)

    @property
    def about_size(self) -> list[forms.BoundField]:
        """The fields that say which limits are meant."""
        return [field for field in self.visible_fields() if field.name not in VALUE_FIELDS]

    @property
    def about_value(self) -> list[forms.BoundField]:
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

    size = ExactField(label="Size")
    unit_of_measure = _choice("Unit", ("mm", "in"))
    notation = forms.CharField(label="Class", max_length=5, help_text="H7, JS9 for holes; g6, js9 for shafts.")
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
    kind = _choice("What is limited", ())
    size = ExactField(label="Size")
    unit_of_measure = _choice("Unit", ("mm", "in"))
    nominal = ExactField(label="Nominal angle, °", required=False)
    letter = _choice("Class", ())

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
        assert isinstance(field, forms.ChoiceField)  # noqa: S101 - for the type checker
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
    size = ExactField(label="Nominal", required=False)
    unit_of_measure = _choice("Unit", sizes.UNITS_OF_MEASURE)
    notation = forms.CharField(
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


# -------------------------------------------------------------------------------------------- the other parts


class FitForm(PartForm):
    """Hole and shaft of one size."""

    wide = ("size",)
    size = ExactField(label="Size, mm")
    hole = forms.CharField(label="Hole", max_length=5, help_text="D to H, JS, K, M, N, P")
    shaft = forms.CharField(label="Shaft", max_length=5, help_text="d to h, js, k, m, n, p, r, s")

    def ask(self, values: dict[str, Any]) -> fit_pair.FitPair:
        size, hole, shaft = values["size"], values["hole"].strip(), values["shaft"].strip()
        self.beside = fit_pair.usual_pairs(size, hole, shaft)
        return fit_pair.fit_pair(size, hole, shaft)


class WeldForm(PartForm):
    """An imperfection of ISO 5817; only the sizes that its limits depend on are asked for."""

    shaping = ("imperfection",)
    imperfection = _choice("Imperfection", weld_limits.names())
    level = _choice("Quality level", [(key, f"{key}, {word}") for key, word in weld_limits.LEVEL_WORDS.items()])
    thickness = ExactField(label="Wall t, mm")
    weld_thickness = ExactField(
        label="Weld s, mm", required=False, help_text="Left empty: the wall, as with full penetration."
    )
    throat = ExactField(label="Throat a, mm")
    width = ExactField(label="Width b, mm")
    measured = ExactField(label="Measured", required=False)

    def __init__(self, data: Mapping[str, str], part: str) -> None:
        super().__init__(data, part)
        needed = weld_limits.dimensions_of(str(data.get("imperfection", "")))
        for name in {"weld_thickness", "throat", "width"} - set(needed):
            del self.fields[name]

    def ask(self, values: dict[str, Any]) -> weld_limits.WeldLimits:
        return weld_limits.weld_limits(values.pop("imperfection"), values.pop("level"), **values)


_GRADES = (*carbon.GRADES, (carbon.OTHER_GRADE, "other, by analysis"))


class CarbonForm(PartForm):
    """Grade and heat analysis of two sides, the thicker wall, the formula."""

    first = _choice("First side", _GRADES)
    second = _choice("Second side", _GRADES)
    thickness = ExactField(label="Thicker wall, mm")
    formula = _choice("Formula", carbon.FORMULA_NAMES)

    def __init__(self, data: Mapping[str, str], part: str) -> None:
        super().__init__(data, part)
        for element in carbon.ELEMENTS:
            for side in ("first", "second"):
                field = ExactField(label=f"{element}, {side} side", required=False)
                field.widget.attrs["class"] = "types"
                self.fields[f"{side}_{element}"] = field

    @property
    def analysis(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """One row for each element: its symbol and the fields of both sides."""
        return [(element, self[f"first_{element}"], self[f"second_{element}"]) for element in carbon.ELEMENTS]

    @property
    def analysis_given(self) -> bool:
        """Whether any percentage was typed, so that the rows are shown open."""
        return any(self.data.get(f"{side}_{element}") for element in carbon.ELEMENTS for side in ("first", "second"))

    def ask(self, values: dict[str, Any]) -> carbon.Joint:
        def side(name: str) -> tuple[str, dict[str, Decimal]]:
            typed = {element: values[f"{name}_{element}"] for element in carbon.ELEMENTS}
            return values[name], {element: value for element, value in typed.items() if value is not None}

        return carbon.joint(side("first"), side("second"), thickness=values["thickness"], formula=values["formula"])


class LotForm(PartForm):
    """A lot to be sampled."""

    wide = ()
    lot_size = forms.IntegerField(
        label="Lot size",
        min_value=1,
        max_value=MAX_LOT,
        widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
    )
    level = _choice("Inspection level", lots.LEVELS)
    aql = _choice("AQL", lots.AQLS)
    severity = _choice("Inspection", lots.SEVERITIES)

    def ask(self, values: dict[str, Any]) -> lots.Lot:
        return lots.lot_plan(values.pop("lot_size"), **values)


class LeakForm(PartForm):
    """Two readings of a tank under air."""

    pressure_unit = _choice("Pressure in", leaks.PRESSURE_UNITS)
    kind = _choice("The gauge shows", (("gauge", "pressure above air"), ("absolute", "absolute pressure")))
    barometer = ExactField(label="Air pressure, start", required=False)
    barometer_end = ExactField(label="Air pressure, end", required=False)
    start_pressure = ExactField(label="Pressure, start")
    start_temperature = ExactField(label="Gas temperature, start")
    end_pressure = ExactField(label="Pressure, end")
    end_temperature = ExactField(label="Gas temperature, end")
    litres = ExactField(label="Volume, litres")
    duration = ExactField(label="Duration")
    time_unit = _choice("Times in", leaks.TIME_UNITS)
    settling = ExactField(label="Settling", required=False)
    resolution = ExactField(label="Resolution", required=False)

    wide = ("kind",)

    @property
    def readings(self) -> list[tuple[str, list[forms.BoundField]]]:
        """One row for each reading: pressure, temperature of the gas, air pressure."""
        rows = (("Start", "start", "barometer"), ("End", "end", "barometer_end"))
        return [(name, [self[f"{key}_pressure"], self[f"{key}_temperature"], self[air]]) for name, key, air in rows]

    @property
    def units(self) -> list[forms.BoundField]:
        """What the gauge shows and in which unit."""
        return [self["kind"], self["pressure_unit"], self["resolution"]]

    @property
    def times(self) -> list[forms.BoundField]:
        """Volume and times."""
        return [self["litres"], self["duration"], self["time_unit"], self["settling"]]

    def ask(self, values: dict[str, Any]) -> leaks.Leak:
        return leaks.leak(gauge=values.pop("kind") == "gauge", **values)
