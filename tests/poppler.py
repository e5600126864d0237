"""Pages of a PDF as poppler's commands see them."""

import re
import shutil
import subprocess
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


def picture(pdf: Path, page: int, dots: int = 60) -> tuple[int, int, bytes]:
    """Width, height and grey values of a page."""
    made = subprocess.run(
        ["pdftoppm", "-gray", "-r", str(dots), "-f", str(page), "-l", str(page), str(pdf)],
        capture_output=True,
        check=True,
    ).stdout
    found = re.match(rb"P5\s+(\d+)\s+(\d+)\s+255\s", made)
    assert found
    return int(found[1]), int(found[2]), made[found.end() :]


def blank(pdf: Path, page: int) -> float:
    """What share of a page, its margins left out, is gaps between rows of ink."""
    dots = 40
    across, down, grey = picture(pdf, page, dots)
    margin = round(_MARGIN * dots)
    rows = [min(grey[i * across : (i + 1) * across]) < 200 for i in range(margin, down - margin)]
    gaps = [len([*run]) for inked, run in groupby(rows) if not inked]
    return sum(max(gap - _ROW * dots, 0) for gap in gaps) / len(rows)
