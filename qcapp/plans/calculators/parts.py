"""The parts of the page "Limits": what each is called, its form, its templates and the example it opens with."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from django.utils.safestring import SafeString

from . import forms, leaks, lots, pictures, size_forms, weld_limits

OWN_FIELDS = frozenset({"size", "carbon", "leak"})
"""Parts whose fields are arranged by a template of their own."""


@dataclass(frozen=True)
class Part:
    """One part. `example` fills the form when the page is opened without anything asked; `remarks` stand beside
    every answer.
    """

    key: str
    title: str
    lead: str
    form: Callable[[Mapping[str, str], str], forms.PartForm]
    example: Mapping[str, str]
    picture: Callable[[Any], SafeString] | None = None
    remarks: Mapping[str, str] = field(default_factory=dict)

    @property
    def answer_template(self) -> str:
        return f"plans/limits/answers/{self.key}.html"

    @property
    def fields_template(self) -> str:
        own = self.key if self.key in OWN_FIELDS else "plain"
        return f"plans/limits/fields/{own}.html"

    def context(self, form: forms.PartForm) -> dict[str, object]:
        """What the templates show; the picture is drawn only where one of them asks for it."""

        def picture() -> SafeString | str:
            return "" if self.picture is None else self.picture(form.answer)

        shown = {"part": self, "form": form, "answer": form.answer, "picture": picture}
        return shown | dict(self.remarks)

    def read(self, typed: Mapping[str, str]) -> forms.PartForm:
        """The form with what was typed, or with the example when nothing was; fields left out keep its values."""
        data = dict(self.example) | {name: value for name, value in typed.items() if name != "part"}
        return self.form(data, self.key)


PARTS = {
    part.key: part
    for part in (
        Part(
            "size",
            "Limits of a size",
            "From a class or a tolerance as drawn to the two limits, and to the verdict on a value.",
            size_forms.size_form,
            {
                "standard": "iso286", "size": "30", "unit_of_measure": "mm", "notation": "H7", "kind": "linear",
                "letter": "",
            },
            pictures.band_of,
        ),
        Part(
            "fit",
            "Hole and shaft",
            "What the classes of a hole and a shaft leave between them.",
            forms.FitForm,
            {"size": "30", "hole": "H7", "shaft": "g6"},
            pictures.fit_of,
        ),
        Part(
            "welds",
            "Welds",
            "What ISO 5817 permits of an imperfection, at its three quality levels.",
            forms.WeldForm,
            {"imperfection": "undercut", "level": "C", "thickness": "2", "throat": "2", "width": "5"},
            pictures.weld_band_of,
            {"caution": weld_limits.CAUTION, "short": weld_limits.SHORT},
        ),
        Part(
            "carbon",
            "Carbon equivalent",
            "How two steels of a joint harden, and what that says about cracking.",
            forms.CarbonForm,
            {"first": "4130", "second": "1020", "thickness": "2", "formula": "IIW"},
        ),
        Part(
            "sampling",
            "Sampling",
            "How many pieces of a lot to check, and how well that tells a good lot from a bad one.",
            forms.LotForm,
            {"lot_size": "100", "level": "II", "aql": "1.0", "severity": "normal"},
            pictures.operating_characteristic_of,
            {"caution": lots.CAUTION},
        ),
        Part(
            "leak",
            "Leak rate",
            "From two readings of pressure and temperature to the rate at which a tank leaks.",
            forms.LeakForm,
            {
                "pressure_unit": "kPa", "kind": "gauge", "barometer": "101.3", "start_pressure": "20.00",
                "start_temperature": "20.0", "end_pressure": "19.55", "end_temperature": "19.2", "litres": "14",
                "duration": "10", "time_unit": "min", "settling": "2", "resolution": "0.01",
            },
            remarks={"caution": leaks.CAUTION, "source": leaks.SOURCE},
        ),
    )
}  # fmt: skip
