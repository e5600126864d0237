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
from midiforge.session import Session

pytest.importorskip("verovio")

WORDS = 'Softly *first*, then #strong[loud] & <b>louder</b>.\nCount "aloud".\n\n\\Second\\ $x$'
PARAGRAPHS = [
    'Softly *first*, then #strong[loud] & <b>louder</b>. Count "aloud".',
    "\\Second\\ $x$",
]
STAGE = 'Low <sticks> & "hands".'
OWN = {"1": "The *first* & only.", "2-3": "Later <ones>."}
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


def test_an_exercise_has_words_of_its_own_by_its_number() -> None:
    drill = midiforge.check_drill({**KEYS, "texts": OWN, "placements": "beat"})
    texts = [exercise.text for exercise in midiforge.exercises(drill)]
    own = [f"{text}\n\n" for text in (OWN["1"], OWN["2-3"], OWN["2-3"])]
    assert texts == [f"{text}{STAGE}" for text in (*own, "")]
    running = midiforge.check_drill({**KEYS, "texts": OWN, "placements": "beat", "running": "4, 2"})
    texts = [exercise.text for exercise in midiforge.exercises(running)]
    assert texts == [STAGE, f"{own[1]}{STAGE}"]


def test_in_a_family_each_has_its_own_under_its_music_and_what_all_have_comes_last(
    tmp_path: Path,
) -> None:
    from html import unescape

    drill = midiforge.check_drill({**KEYS, "texts": OWN, "placements": "beat"})
    path = tmp_path / "lesson.html"
    midiforge.write_sheet(drill, path)
    page = path.read_text("utf-8")
    own = [unescape(each) for each in re.findall('<p class="own">(.*?)</p>', page)]
    assert own == [*PARAGRAPHS, OWN["1"], OWN["2-3"], OWN["2-3"], STAGE]
    places = [page.index(f'id="n{number}"') for number in (1, 2, 3, 4)]
    assert places[0] < page.index("first* &amp; only") < places[1] < page.index("Later") < places[2]


@pytest.mark.parametrize(
    ("texts", "wrong"),
    [
        ({"9": "Too far."}, "texts: there is no exercise 9"),
        ({"first": "No number."}, "texts: first: 'first' is not a number"),
        ({"1": ["one"]}, "texts: 1: .*not a text"),
        ("Under all.", "texts: .*is not a table"),
    ],
)
def test_words_for_no_exercise_are_refused(texts: object, wrong: str) -> None:
    with pytest.raises(MidiforgeError, match=wrong):
        [*midiforge.exercises(midiforge.check_drill({**KEYS, "texts": texts}))]


def test_names_and_date_stand_under_the_title_of_a_booklet(tmp_path: Path) -> None:
    path = tmp_path / "lesson.html"
    session = Session(midiforge.check_drill(KEYS))
    session.sheet(path, student="Ada <Brook>", date="3 May")
    page = path.read_text("utf-8")
    assert "<b>Ada &lt;Brook&gt;</b>" in page and "<b>3 May</b>" in page
    assert "Teacher" not in page


@pytest.mark.skipif(not shutil.which("pdftotext"), reason="poppler is not installed")
def test_on_paper_what_is_not_known_can_be_written(tmp_path: Path) -> None:
    path = tmp_path / "lesson.pdf"
    Session(midiforge.check_drill(KEYS)).sheet(path, teacher="J. #Marsh")
    said = subprocess.run(["pdftotext", path, "-"], capture_output=True, check=True)
    text = " ".join(said.stdout.decode().split())
    at = [text.index(each) for each in ("Own words", "Student", "J. #Marsh", "Date", "Softly")]
    assert at == sorted(at)
    assert text.rindex("Notes") > text.index("RLRR from 1")


def test_without_them_a_page_has_no_place_for_them(tmp_path: Path) -> None:
    path = tmp_path / "plain.html"
    midiforge.write_sheet(midiforge.check_drill({"sticking": "RLRR", "text": " \n\n "}), path)
    assert 'class="own"' not in path.read_text("utf-8")


def test_what_is_no_text_is_refused() -> None:
    with pytest.raises(MidiforgeError, match="not a text"):
        midiforge.check_drill({"sticking": "RLRR", "text": ["one", "two"]})
