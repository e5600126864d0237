"""Tables as CSV (RFC 4180), every cell shown by a spreadsheet as it is."""

import csv
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

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


@contextmanager
def table(path: Path, columns: Sequence[str]) -> Iterator[Callable[[Iterable[object]], object]]:
    """A file with its columns on top; gives what writes a row into it."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(columns)
        yield lambda values: writer.writerow(cells(values))
