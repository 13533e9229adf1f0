"""What the page "Limits" takes: one form for each part, read exactly, and the answer that it asks for. The limits of
a size have forms of their own in `size_forms.py`.

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

from qcapp.core.errors import QcError
from qcapp.lib.typed_numbers import NumberField

from . import carbon, fit_pair, leaks, lots, weld_limits

MAX_LOT = 100_000_000


def choice(label: str, choices: Any, **options: Any) -> forms.ChoiceField:
    pairs = [one if isinstance(one, tuple) else (one, one) for one in choices]
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


class FitForm(PartForm):
    """Hole and shaft of one size."""

    wide = ("size",)
    size = NumberField(label="Size, mm")
    hole = forms.CharField(label="Hole", max_length=5, help_text="D to H, JS, K, M, N, P")
    shaft = forms.CharField(label="Shaft", max_length=5, help_text="d to h, js, k, m, n, p, r, s")

    def ask(self, values: dict[str, Any]) -> fit_pair.FitPair:
        size, hole, shaft = values["size"], values["hole"].strip(), values["shaft"].strip()
        self.beside = fit_pair.usual_pairs(size, hole, shaft)
        return fit_pair.fit_pair(size, hole, shaft)


class WeldForm(PartForm):
    """An imperfection of ISO 5817; only the sizes that its limits depend on are asked for."""

    shaping = ("imperfection",)
    imperfection = choice("Imperfection", weld_limits.names())
    level = choice("Quality level", [(key, f"{key}, {word}") for key, word in weld_limits.LEVEL_WORDS.items()])
    thickness = NumberField(label="Wall t, mm")
    weld_thickness = NumberField(
        label="Weld s, mm", required=False, help_text="Left empty: the wall, as with full penetration."
    )
    throat = NumberField(label="Throat a, mm")
    width = NumberField(label="Width b, mm")
    measured = NumberField(label="Measured", required=False)

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

    first = choice("First side", _GRADES)
    second = choice("Second side", _GRADES)
    thickness = NumberField(label="Thicker wall, mm")
    formula = choice("Formula", carbon.FORMULA_NAMES)

    def __init__(self, data: Mapping[str, str], part: str) -> None:
        super().__init__(data, part)
        for element in carbon.ELEMENTS:
            for side in ("first", "second"):
                field = NumberField(
                    label=f"{element}, first side" if side == "first" else f"{element}, second side", required=False
                )
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
    level = choice("Inspection level", lots.LEVELS)
    aql = choice("AQL", lots.AQLS)
    severity = choice("Inspection", lots.SEVERITIES)

    def ask(self, values: dict[str, Any]) -> lots.Lot:
        return lots.lot_plan(values.pop("lot_size"), **values)


class LeakForm(PartForm):
    """Two readings of a tank under air."""

    pressure_unit = choice("Pressure in", leaks.PRESSURE_UNITS)
    kind = choice("The gauge shows", (("gauge", "pressure above air"), ("absolute", "absolute pressure")))
    barometer = NumberField(label="Air pressure, start", required=False)
    barometer_end = NumberField(label="Air pressure, end", required=False)
    start_pressure = NumberField(label="Pressure, start")
    start_temperature = NumberField(label="Gas temperature, start")
    end_pressure = NumberField(label="Pressure, end")
    end_temperature = NumberField(label="Gas temperature, end")
    litres = NumberField(label="Volume, litres")
    duration = NumberField(label="Duration")
    time_unit = choice("Times in", leaks.TIME_UNITS)
    settling = NumberField(label="Settling", required=False)
    resolution = NumberField(label="Resolution", required=False)

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
        return leaks.leak(leaks.LeakTest(gauge=values.pop("kind") == "gauge", **values))
