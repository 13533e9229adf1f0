"""The words of a question in the other languages of the office: typed and shown there, kept in English."""

from __future__ import annotations

from collections.abc import Mapping

Words = Mapping[str, str]  # by the English word

OTHERS: Mapping[str, Words] = {
    "de": {
        "and": "und", "or": "oder", "not": "nicht", "from": "von", "to": "bis",
        "heat": "Schmelze", "lot": "Los", "component": "Komponente", "supplier": "Lieferant", "filler": "Zusatz",
        "gauge": "Prüfmittel", "fixture": "Vorrichtung", "welder": "Schweißer", "inspector": "Prüfer",
        "plan": "Plan", "family": "Familie", "opened": "eröffnet", "dispatched": "versandt",
    },
}  # fmt: skip
ENGLISH: Words = {other.casefold(): english for words in OTHERS.values() for english, other in words.items()}
