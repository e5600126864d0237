"""A teacher's own words on the pages: where they stand, and that none is taken for markup."""

import re
import shutil
import subprocess
from pathlib import Path
from xml.etree import ElementTree

import pytest
from test_pages_musicxml import assert_valid

import midiforge
from midiforge.errors import MidiforgeError

pytest.importorskip("verovio")

WORDS = 'Softly *first*, then #strong[loud] & <b>louder</b>.\nCount "aloud".\n\n\\Second\\ $x$'
PARAGRAPHS = [
    'Softly *first*, then #strong[loud] & <b>louder</b>. Count "aloud".',
    "\\Second\\ $x$",
]
STAGE = 'Low <sticks> & "hands".'
KEYS = {
    "title": "Own words",
    "text": WORDS,
    "sticking": "RLRR",
    "stages": "hands",
    "stage": {"hands": {"text": STAGE}},
}


def write(folder: Path, ending: str) -> Path:
    path = folder / f"lesson{ending}"
    midiforge.write_sheet(midiforge.check_drill(KEYS), path)
    return path


def texts(path: Path, wanted: str) -> list[str]:
    root = ElementTree.parse(path).getroot()
    return [each.text or "" for each in root.iter() if each.tag.rpartition("}")[2] == wanted]


def test_in_html_paragraphs_stand_under_the_title_and_the_stage_s_under_its_music(
    tmp_path: Path,
) -> None:
    from html import unescape

    page = write(tmp_path, ".html").read_text("utf-8")
    own = [unescape(each) for each in re.findall('<p class="own">(.*?)</p>', page)]
    assert own == [*PARAGRAPHS, STAGE]
    assert page.index("<h1>") < page.index('class="own"') < page.index("Practice order")
    assert page.rindex('class="own"') > page.rindex("</svg>")


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="poppler is not installed")
def test_on_paper_they_stand_there_too(tmp_path: Path) -> None:
    path = write(tmp_path, ".pdf")
    said = subprocess.run(["pdftotext", path, "-"], capture_output=True, check=True)
    text = " ".join(said.stdout.decode().replace("“", '"').replace("”", '"').split())
    at = [text.index(each) for each in ("Own words", *PARAGRAPHS, "Practice order", STAGE)]
    assert at == sorted(at)


def test_a_picture_has_the_stage_s_under_its_music(tmp_path: Path) -> None:
    assert texts(write(tmp_path, ".svg"), "text")[-1] == STAGE


def test_in_musicxml_they_are_words_of_the_first_page_and_of_the_exercise(tmp_path: Path) -> None:
    path = write(tmp_path, ".musicxml")
    assert_valid(path.read_bytes())
    assert texts(path, "credit-words") == PARAGRAPHS
    assert STAGE in texts(path, "words")


def test_without_them_a_page_has_no_place_for_them(tmp_path: Path) -> None:
    path = tmp_path / "plain.html"
    midiforge.write_sheet(midiforge.check_drill({"sticking": "RLRR", "text": " \n\n "}), path)
    assert 'class="own"' not in path.read_text("utf-8")


def test_what_is_no_text_is_refused() -> None:
    with pytest.raises(MidiforgeError, match="not a text"):
        midiforge.check_drill({"sticking": "RLRR", "text": ["one", "two"]})
