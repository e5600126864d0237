"""Pages of a PDF as poppler's commands see them."""

import re
import shutil
import subprocess
from collections.abc import Iterator
from itertools import groupby
from pathlib import Path

import pytest

needs_poppler = pytest.mark.skipif(
    not all(map(shutil.which, ("pdftotext", "pdftoppm", "pdffonts", "pdfinfo"))),
    reason="poppler's commands (package poppler-utils) are not installed",
)

_MARGIN = 16 / 25.4  # inches of a page around what is printed
_ROW = 12 / 25.4  # inches between rows of ink that are no gap to a reader


def said_by(*command: str | Path) -> str:
    done = subprocess.run([*map(str, command)], capture_output=True, check=True)
    return done.stdout.decode()


def pages_of(pdf: Path) -> int:
    """How many pages it has."""
    told = re.search(r"Pages:\s+(\d+)", said_by("pdfinfo", pdf))
    assert told
    return int(told[1])


def pictures_of(
    pdf: Path, dots: int = 60, pages: tuple[int, int] | None = None
) -> Iterator[tuple[int, int, bytes]]:
    """Width, height and grey values of each page, or of those from one to another."""
    chosen = ["-f", str(pages[0]), "-l", str(pages[1])] if pages else []
    made = subprocess.run(
        ["pdftoppm", "-gray", "-r", str(dots), *chosen, str(pdf)], capture_output=True, check=True
    ).stdout
    at = 0
    while at < len(made):
        head = re.compile(rb"P5\s+(\d+)\s+(\d+)\s+255\s").match(made, at)
        assert head
        across, down = int(head[1]), int(head[2])
        at = head.end() + across * down
        yield across, down, made[head.end() : at]


def picture(pdf: Path, page: int, dots: int = 60) -> tuple[int, int, bytes]:
    """The same of a single page."""
    [one] = pictures_of(pdf, dots, (page, page))
    return one


def blanks(pdf: Path) -> list[float]:
    """What share of each page, its margins left out, is gaps between rows of ink."""
    dots, shares = 40, []
    margin = round(_MARGIN * dots)
    for across, down, grey in pictures_of(pdf, dots):
        rows = [
            min(grey[i * across : (i + 1) * across]) < 200 for i in range(margin, down - margin)
        ]
        gaps = [len([*run]) for inked, run in groupby(rows) if not inked]
        shares.append(sum(max(gap - _ROW * dots, 0) for gap in gaps) / len(rows))
    return shares
