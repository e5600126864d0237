"""Text and lengths as MusicXML has them."""

import re
from fractions import Fraction
from xml.sax.saxutils import escape

_LINE_BREAKS = re.compile("[\t\n\r]+")
# What XML 1.0 does not allow in a document, even escaped (section 2.2, Char).
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def text_of(text: str) -> str:
    """A text as the content of an element: escaped, on one line, without what XML forbids."""
    return escape(_FORBIDDEN.sub("", _LINE_BREAKS.sub(" ", text)))


def in_divisions(divisions: int, length: Fraction) -> int:
    """A length in quarter notes as a number of divisions of a quarter."""
    return length.numerator * divisions // length.denominator
