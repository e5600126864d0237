"""SVG says what it was given, whatever that is; read back by the standard library's XML parser."""

import ast
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

import midiforge
from midiforge.svg import NOTHING, document, element, short, together

PRINTABLE = st.text().filter(str.isprintable)


@given(PRINTABLE, PRINTABLE)
def test_text_and_attributes_are_read_as_they_were_written(text: str, label: str) -> None:
    read = ElementTree.fromstring(element("text", text, aria_label=label, class_="word"))
    assert (read.text or "") == text
    assert read.get("aria-label", "") == label
    assert read.get("class") == "word"


@given(st.text(), st.text())
def test_whatever_is_in_it_a_picture_is_xml(text: str, label: str) -> None:
    lines = [element("title", text), element("g", element("text", text, id=label), text)]
    read = ElementTree.fromstring(document(*lines, style=".a{fill:red}", viewBox="0 0 1 1"))
    assert [each.tag.rpartition("}")[2] for each in read] == ["style", "title", "g"]


def test_elements_stand_in_others_and_text_that_looks_like_one_is_text() -> None:
    line = element("path", d="M0 0h1")
    read = ElementTree.fromstring(element("g", together([line, "<path/>", NOTHING, line])))
    assert [each.tag for each in read] == ["path", "path"]
    assert read[0].tail == "<path/>"


def test_what_is_empty_is_no_attribute() -> None:
    assert ElementTree.fromstring(element("g", class_="", id="a")).attrib == {"id": "a"}


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [(10.0, 1, "10"), (2.25, 2, "2.25"), (2.5, 2, "2.5"), (-0.04, 1, "0"), (100, 1, "100")],
)
def test_numbers_are_as_short_as_they_can_be(value: float, decimals: int, text: str) -> None:
    assert short(value, decimals) == text


def test_nobody_else_puts_svg_together() -> None:
    drawn = re.compile(r"<(svg|g|rect|path|circle|line|polyline|use|tspan)\b[^>]")
    home = Path(midiforge.__file__).parent
    by_hand = [
        (path.name, node.value)
        for path in home.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
        if drawn.search(node.value) and path != home / "svg.py"
    ]
    assert by_hand == []
