"""Tables as CSV (RFC 4180), every cell shown by a spreadsheet as it is."""

import re
from collections.abc import Iterable

from midiforge.printable import printable

# A spreadsheet takes what begins so for a formula (OWASP, CSV injection).
_FORMULA = re.compile(r"[=+\-@\t\r]")
_NUMBER = re.compile(r"[-+]?[0-9]+(\.[0-9]+)?(e[-+]?[0-9]+)?", re.IGNORECASE)


def cell(value: object) -> object:
    """A value as a cell: text that would be a formula, such as a sticking that begins with a rest,
    comes after an apostrophe, as spreadsheets write it; nothing in it steers a terminal."""
    if not isinstance(value, str):
        return value
    text = printable(value, besides="\n")
    return f"'{text}" if _FORMULA.match(value) and not _NUMBER.fullmatch(value) else text


def cells(values: Iterable[object]) -> list[object]:
    """A row, cell by cell."""
    return [cell(value) for value in values]
