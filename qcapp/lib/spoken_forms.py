"""How Django's widgets are drawn: what they say to people comes in the language of the page."""

from __future__ import annotations

from typing import Any

from django.forms.renderers import DjangoTemplates
from django.http import HttpRequest

from .spoken import SOURCE, page_language
from .templatetags.spoken import said

SPOKEN_ATTRIBUTES = ("placeholder", "title", "aria-label")


class SpokenForms(DjangoTemplates):
    """Django's own templates; labels of choices and words in attributes are looked up as they are drawn."""

    def render(self, template_name: str, context: dict[str, Any], request: HttpRequest | None = None) -> str:
        if page_language() != SOURCE and "widget" in context:
            context = context | {"widget": _said_widget(context["widget"])}
        return str(super().render(template_name, context, request))


def _said_widget(widget: dict[str, Any]) -> dict[str, Any]:
    shown = dict(widget)
    attributes = widget.get("attrs") or {}
    shown["attrs"] = attributes | {name: said(attributes[name]) for name in SPOKEN_ATTRIBUTES if name in attributes}
    if "label" in widget:
        shown["label"] = said(widget["label"])
    if "optgroups" in widget:
        shown["optgroups"] = [
            (said(name), [_said_widget(option) for option in options], index)
            for name, options, index in widget["optgroups"]
        ]
    if "subwidgets" in widget:
        shown["subwidgets"] = [_said_widget(one) for one in widget["subwidgets"]]
    return shown
