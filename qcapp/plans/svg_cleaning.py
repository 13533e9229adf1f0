"""An SVG drawing written anew from a list of what a drawing needs: shapes, text, paint. Everything else is left out.

Scripts, event attributes, foreign content, animation, pictures and every address outside the file do not get through,
because only names and values of the lists below are copied. Sizes and counts are limited, so that a small file cannot
become a large picture.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import Element, ParseError, tostring

import tinycss2
from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring

from qcapp.core.errors import Invalid

SVG = "http://www.w3.org/2000/svg"
XLINK_HREF = "{http://www.w3.org/1999/xlink}href"
MOST_BYTES = 10_000_000
MOST_ELEMENTS = 60_000
DEEPEST = 60
LONGEST_EDGE = 2000  # of the size that is written: a drawing has no pixels, only a shape

ELEMENTS = frozenset({
    "svg", "g", "defs", "symbol", "use", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "text",
    "tspan", "title", "desc", "linearGradient", "radialGradient", "stop", "clipPath", "marker", "pattern",
})  # fmt: skip
_PAINT = frozenset({
    "fill", "fill-opacity", "fill-rule", "stroke", "stroke-width", "stroke-opacity", "stroke-dasharray",
    "stroke-dashoffset", "stroke-linecap", "stroke-linejoin", "stroke-miterlimit", "opacity", "color", "display",
    "visibility", "font-family", "font-size", "font-style", "font-weight", "text-anchor", "dominant-baseline",
    "alignment-baseline", "letter-spacing", "clip-path", "clip-rule", "marker-start", "marker-mid", "marker-end",
    "stop-color", "stop-opacity", "vector-effect", "paint-order",
})  # fmt: skip
ATTRIBUTES = _PAINT | frozenset({
    "id", "d", "points", "x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "dx", "dy", "width", "height",
    "transform", "viewBox", "preserveAspectRatio", "offset", "gradientUnits", "gradientTransform", "spreadMethod", "fx",
    "fy", "clipPathUnits", "markerWidth", "markerHeight", "markerUnits", "refX", "refY", "orient", "patternUnits",
    "patternContentUnits", "patternTransform", "textLength", "lengthAdjust", "rotate",
})  # fmt: skip
_PLAIN = re.compile(r"[\w\s.,;+\-*/%#()'°]*")
_REFERENCE = re.compile(r"url\(\s*['\"]?#([\w.-]+)['\"]?\s*\)")
_LENGTH = re.compile(r"\s*([0-9.]+(?:[eE][-+]?[0-9]+)?)\s*(px|mm|cm|in|pt|pc)?\s*")
_PIXELS = {"": 1.0, "px": 1.0, "mm": 96 / 25.4, "cm": 96 / 2.54, "in": 96.0, "pt": 96 / 72, "pc": 16.0}  # CSS Values 3


@dataclass(frozen=True)
class CleanDrawing:
    """The drawing written anew; `left_out` counts what did not belong to a drawing, by name."""

    content: bytes
    width: int
    height: int
    left_out: Mapping[str, int]


def clean_svg(content: bytes) -> CleanDrawing:
    """The drawing without anything that could act or load.

    Raises Invalid `file_too_large`, `drawing_not_read`, `drawing_without_size`, `drawing_too_large`.
    """
    if len(content) > MOST_BYTES:
        raise Invalid("file_too_large", f"An SVG drawing has at most {MOST_BYTES // 1_000_000} MB; simplify it.")
    root = _parsed(content)
    box = _box(root)
    writer = _Writer(_styles(root))
    clean = writer.copy(root, 0)
    if clean is None or not writer.drawn:
        raise Invalid("drawing_not_read", "There is nothing drawn in this SVG file; choose the drawing again.")
    _refuse_multiplied(clean)
    width, height = _size(box)
    for name in ("x", "y", "transform", "preserveAspectRatio", "viewBox", "width", "height"):
        clean.attrib.pop(name, None)
    clean.attrib |= {
        "xmlns": SVG,
        "viewBox": " ".join(f"{n:g}" for n in box),
        "width": str(width),
        "height": str(height),
    }
    return CleanDrawing(tostring(clean, encoding="utf-8"), width, height, writer.left_out)


def _parsed(content: bytes) -> Element:
    """The root. Entities and outside declarations are refused while parsing, before they can grow."""
    unreadable = Invalid("drawing_not_read", "This SVG file cannot be read; export it again as plain SVG.")
    try:
        root: Element = fromstring(content)
    except DefusedXmlException as error:
        message = "This SVG file defines entities of its own; export it again as plain SVG without them."
        raise Invalid("drawing_not_read", message) from error
    except (ParseError, ValueError, LookupError) as error:
        raise unreadable from error
    if root.tag not in (f"{{{SVG}}}svg", "svg"):
        raise unreadable
    return root


# ------------------------------------------------------------------------------------------------------ size


def _box(root: Element) -> tuple[float, float, float, float]:
    """What of the drawing's plane is shown: from its viewBox, or from width and height."""
    try:
        x, y, width, height = (float(n) for n in re.split(r"[\s,]+", root.get("viewBox", "").strip()))
    except ValueError:
        x = y = 0.0
        width, height = _pixels(root.get("width", "")), _pixels(root.get("height", ""))
    if not (0 < width < 1e7 and 0 < height < 1e7 and abs(x) < 1e7 and abs(y) < 1e7 and 0.02 < width / height < 50):
        message = "The SVG file does not say how large the drawing is; export it with a page size."
        raise Invalid("drawing_without_size", message)
    return x, y, width, height


def _pixels(text: str) -> float:
    found = _LENGTH.fullmatch(text)
    try:
        return float(found[1]) * _PIXELS[found[2] or ""] if found else 0.0
    except ValueError:
        return 0.0


def _size(box: tuple[float, float, float, float]) -> tuple[int, int]:
    longest = max(box[2], box[3])
    return max(1, round(box[2] * LONGEST_EDGE / longest)), max(1, round(box[3] * LONGEST_EDGE / longest))


# --------------------------------------------------------------------------------------------------- copying


class _Writer:
    """Copies a tree by the lists above and counts what stays behind."""

    def __init__(self, styles: list[tuple[str, dict[str, str]]]) -> None:
        self.styles = styles
        self.left_out: Counter[str] = Counter()
        self.elements = 0
        self.drawn = 0

    def copy(self, source: Element, depth: int) -> Element | None:
        """The element with its children, or None when it does not belong to a drawing."""
        name = _local(source.tag)
        self.elements += 1
        if self.elements > MOST_ELEMENTS or depth > DEEPEST:
            message = f"The drawing has more than {MOST_ELEMENTS} parts or is nested too deep; simplify it."
            raise Invalid("drawing_too_large", message)
        if name == "a":
            name = "g"  # what is linked is drawn, the link is not taken
            self.left_out["link"] += 1
        if name not in ELEMENTS:
            if name and name not in ("style", "metadata", "namedview"):
                self.left_out[name] += 1
            return None
        made = Element(name, self._attributes(source, name))
        self.drawn += name in ("path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "text", "use")
        if name in ("text", "tspan", "title", "desc"):
            made.text = source.text
        for child in source:
            copied = self.copy(child, depth + 1)
            if copied is not None:
                copied.tail = child.tail if name in ("text", "tspan") else None
                made.append(copied)
        return made

    def _attributes(self, source: Element, name: str) -> dict[str, str]:
        found: dict[str, str] = {}
        for key, text in [*source.attrib.items(), *self._styled(source, name)]:
            if key in ("href", XLINK_HREF):
                if re.fullmatch(r"#[\w.-]+", text.strip()):
                    found["href"] = text.strip()
                else:
                    self.left_out["address"] += 1
            elif key in ATTRIBUTES and (value := _value(text)) is not None:
                found[key] = value
            elif key.lower().startswith("on"):
                self.left_out["event"] += 1
        return found

    def _styled(self, source: Element, name: str) -> Iterator[tuple[str, str]]:
        """Paint from the style sheet, then from the element's own style, as attributes."""
        own = {f".{one}" for one in source.get("class", "").split()} | {name, f"#{source.get('id', '')}"}
        for selector, declared in self.styles:
            if selector in own:
                yield from declared.items()
        yield from _declared(tinycss2.parse_blocks_contents(source.get("style", ""))).items()


def _local(tag: Any) -> str:
    """The name of an element of SVG; empty for comments and for other vocabularies."""
    if not isinstance(tag, str):
        return ""
    space, _, name = tag.rpartition("}")
    return name if space in ("", "{" + SVG) else ("foreign element" if name not in ("namedview", "RDF") else "metadata")


def _value(text: str) -> str | None:
    """The value when it is plain or refers into the drawing itself; None otherwise."""
    text = _REFERENCE.sub(r"url(#\1)", text.strip())
    without = re.sub(r"url\(#[\w.-]+\)", "", text)
    return text if _PLAIN.fullmatch(without) and "url(" not in without.lower() else None


def _styles(root: Element) -> list[tuple[str, dict[str, str]]]:
    """The rules of the drawing's style sheets whose selector is one class, one id or one element."""
    found = []
    for sheet in root.iter(f"{{{SVG}}}style"):
        for rule in tinycss2.parse_stylesheet(sheet.text or "", skip_comments=True, skip_whitespace=True):
            if rule.type != "qualified-rule":
                continue
            declared = _declared(tinycss2.parse_blocks_contents(rule.content))
            found += [(one.strip(), declared) for one in tinycss2.serialize(rule.prelude).split(",")]
    return found


def _declared(nodes: list[Any]) -> dict[str, str]:
    return {
        node.lower_name: tinycss2.serialize(node.value).strip()
        for node in nodes
        if node.type == "declaration" and node.lower_name in _PAINT
    }


def _refuse_multiplied(root: Element) -> None:
    """Refuse copies of copies: what one line of a file draws must not double with every further line."""
    by_id = {one.get("id"): one for one in root.iter() if one.get("id")}
    drawn = 0
    for use in root.iter("use"):
        target = by_id.get(use.get("href", "")[1:])
        parts = list(target.iter()) if target is not None else []
        drawn += len(parts)
        if drawn > MOST_ELEMENTS or any(part.tag == "use" for part in parts):
            message = "The drawing repeats parts inside repeated parts; export it with the parts drawn out."
            raise Invalid("drawing_too_large", message)
    for pattern in root.iter("pattern"):
        if any("url(" in value for part in pattern.iter() for value in part.attrib.values()):
            raise Invalid("drawing_too_large", "The drawing has a hatching inside a hatching; export it simpler.")
