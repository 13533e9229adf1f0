"""An SVG drawing written anew: what acts or loads does not get through, what is drawn does."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest
from defusedxml.ElementTree import fromstring
from hypothesis import given
from hypothesis import strategies as st

from qcapp.core.errors import Invalid
from qcapp.plans.svg_cleaning import ATTRIBUTES, ELEMENTS, clean_svg

NAMES = 'xmlns="http://www.w3.org/2000/svg" xmlns:xlink="http://www.w3.org/1999/xlink"'


def svg(inside: str, box: str = 'viewBox="0 0 100 50"') -> bytes:
    return f"<svg {NAMES} {box}>{inside}</svg>".encode()


def cleaned(inside: str) -> str:
    return clean_svg(svg(inside + '<path d="M0 0h5"/>')).content.decode()


@pytest.mark.parametrize(
    ("inside", "left"),
    [
        ("<script>alert(1)</script>", "script"),
        ('<rect width="1" height="1" onload="alert(1)"/>', "event"),
        ('<rect width="1" height="1" ONCLICK="alert(1)"/>', "event"),
        ("<foreignObject><body xmlns='http://www.w3.org/1999/xhtml'><script/></body></foreignObject>", "foreignObject"),
        ('<image href="https://example.invalid/a.png"/>', "image"),
        ('<use xlink:href="https://example.invalid/a.svg#b"/>', "address"),
        ('<use href="data:image/svg+xml;base64,AAAA"/>', "address"),
        ('<a xlink:href="javascript:alert(1)"><text>go</text></a>', "address"),
        ('<set attributeName="href" to="javascript:alert(1)"/>', "set"),
        ('<animate attributeName="x" values="0;1"/>', "animate"),
        ("<handler xmlns='http://www.w3.org/2001/xml-events'>alert(1)</handler>", "foreign element"),
        ('<filter id="f"><feImage href="https://example.invalid/x"/></filter>', "filter"),
    ],
)
def test_leaves_out_what_acts_or_loads_and_counts_it(inside: str, left: str) -> None:
    found = clean_svg(svg(inside + '<path d="M0 0h5"/>'))
    text = found.content.decode().lower()
    assert found.left_out[left] == 1
    for word in ("script", "alert", "example.invalid", "javascript", "data:", "onload", "onclick", "foreign"):
        assert word not in text, word
    assert "m0 0h5" in text


@pytest.mark.parametrize(
    "style",
    [
        "fill:url(https://example.invalid/a#b)",
        "fill:url('javascript:alert(1)')",
        "clip-path:url(//example.invalid/c)",
        "background:url(https://example.invalid)",
        "behavior:url(x.htc)",
        "fill:\\75rl(https://example.invalid)",
        "marker:expression(alert(1))",
    ],
)
def test_takes_no_address_from_a_style(style: str) -> None:
    text = cleaned(f'<rect width="1" height="1" style="{style}"/><style>rect {{ {style} }}</style>')
    assert "example" not in text
    assert "alert" not in text
    assert ".htc" not in text


def test_keeps_paint_from_styles_as_attributes() -> None:
    text = cleaned(
        '<style>.thin, line { stroke: #123 ; stroke-width:2px }</style><rect class="thin" style="fill:none"/>'
    )
    assert '<rect stroke="#123" stroke-width="2px" fill="none"' in text


def test_keeps_references_into_itself_and_text_with_its_parts() -> None:
    text = cleaned(
        '<defs><linearGradient id="g"><stop offset="0" stop-color="red"/></linearGradient></defs>'
        '<circle r="3" fill="url(#g)"/><text x="1">ø 30 <tspan>H7</tspan> &lt; here</text><use xlink:href="#g"/>'
    )
    assert 'fill="url(#g)"' in text
    assert "ø 30 <tspan>H7</tspan> &lt; here" in text
    assert '<use href="#g"' in text


@pytest.mark.parametrize(
    ("box", "size"),
    [
        ('viewBox="0 0 420 297"', (2000, 1414)),
        ('viewBox="-10,-10 100 200"', (1000, 2000)),
        ('width="210mm" height="297mm"', (1414, 2000)),
        ('width="4in" height="288pt"', (2000, 2000)),
    ],
)
def test_gives_the_shape_of_the_drawing(box: str, size: tuple[int, int]) -> None:
    found = clean_svg(svg('<path d="M0 0h5"/>', box))
    assert (found.width, found.height) == size


def bomb(levels: int) -> bytes:
    entities = "".join(f'<!ENTITY e{n} "{f"&e{n - 1};" * 10}">' for n in range(1, levels))
    drawing = f'<svg {NAMES} viewBox="0 0 1 1"><text>&e{levels - 1};</text></svg>'
    return f'<!DOCTYPE svg [<!ENTITY e0 "x">{entities}]>{drawing}'.encode()


@pytest.mark.parametrize(
    ("content", "code"),
    [
        (bomb(9), "drawing_not_read"),
        (
            b'<!DOCTYPE svg [<!ENTITY x SYSTEM "file:///etc/passwd">]><svg viewBox="0 0 1 1"><text>&x;</text></svg>',
            "drawing_not_read",
        ),
        (b"<svg", "drawing_not_read"),
        (b"<html><svg/></html>", "drawing_not_read"),
        (svg(""), "drawing_not_read"),
        (svg('<path d="M0 0"/>', ""), "drawing_without_size"),
        (svg('<path d="M0 0"/>', 'viewBox="0 0 0 0"'), "drawing_without_size"),
        (svg('<path d="M0 0"/>', 'viewBox="0 0 nan 4"'), "drawing_without_size"),
        (svg("<g>" * 200 + "<path/>" + "</g>" * 200), "drawing_too_large"),
        (svg("<path/>" * 60_001), "drawing_too_large"),
        (svg('<g id="a"><path/><use href="#a"/></g>'), "drawing_too_large"),
        (
            svg('<g id="a"><path/></g><g id="b"><use href="#a"/><use href="#a"/></g><use href="#b"/>'),
            "drawing_too_large",
        ),
        (b" " * 10_000_001, "file_too_large"),
    ],
)
def test_refuses_with_a_sentence(content: bytes, code: str) -> None:
    with pytest.raises(Invalid) as caught:
        clean_svg(content)
    assert caught.value.code == code
    assert caught.value.message.endswith(".")


WORDS = st.sampled_from([
    "svg", "g", "script", "path", "text", "a", "use", "foreignObject", "style", "image", "animate", "title", "defs",
])  # fmt: skip
KEYS = st.sampled_from(
    ["d", "id", "style", "onload", "href", "fill", "class", "x", "width", "viewBox", "begin", "transform"]
)
VALUES = st.one_of(
    st.sampled_from(
        ["javascript:alert(1)", "url(#a)", "url(http://x)", "#a", "M0 0", "fill:red", "rgb(1,2,3)", "'\"<>"]
    ),
    st.text(max_size=12).filter(lambda text: text.isprintable()),
)
TREES = st.recursive(
    st.builds(lambda name, keys: ET.Element(name, keys), WORDS, st.dictionaries(KEYS, VALUES, max_size=4)),
    lambda children: st.builds(
        lambda name, keys, inside: _with(ET.Element(name, keys), inside),
        WORDS, st.dictionaries(KEYS, VALUES, max_size=4), st.lists(children, max_size=4),
    ),
    max_leaves=20,
)  # fmt: skip


def _with(element: ET.Element, children: list[ET.Element]) -> ET.Element:
    element.extend(children)
    return element


@given(TREES)
def test_lets_only_listed_names_through_and_nothing_changes_the_second_time(tree: ET.Element) -> None:
    root = ET.Element("svg", {"xmlns": "http://www.w3.org/2000/svg", "viewBox": "0 0 9 9"})
    root.extend([tree, ET.Element("path")])
    try:
        found = clean_svg(ET.tostring(root))
    except Invalid:
        return
    for element in fromstring(found.content).iter():
        assert element.tag.removeprefix("{http://www.w3.org/2000/svg}") in ELEMENTS
        assert set(element.attrib) <= ATTRIBUTES | {"href"}
        assert all(
            "javascript" not in text and "url(http" not in text for text in element.attrib.values() if ":" in text
        )
    again = clean_svg(found.content)
    assert again.content == found.content
    assert not again.left_out


@given(st.binary(max_size=400))
def test_reads_any_bytes_without_failing(content: bytes) -> None:
    for start in (b"", b"<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 1 1'>"):
        with pytest.raises(Invalid):
            clean_svg(start + content)
