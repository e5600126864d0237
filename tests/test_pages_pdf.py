"""The booklet on paper, read back by poppler: its words, their places, and pictures of its pages.

Paper sizes are those of ISO 216 (A4) and ANSI/ASME Y14.1 (Letter), in points of 1/72 inch.
"""

import re
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import NamedTuple
from xml.etree import ElementTree

import pytest
from poppler import blanks, needs_poppler, pages_of, picture, pictures_of, said_by

import midiforge
from midiforge.model.family import families
from midiforge.notation import scores
from midiforge.notation.score import HANDS_VOICE, Score
from midiforge.pages.paper import paper_of
from midiforge.pages.sheet import write_sheet

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
POINTS = {"a4": (595.28, 841.89), "letter": (612.0, 792.0)}
MM = 72 / 25.4


class Word(NamedTuple):
    page: int
    left: float
    top: float
    right: float
    bottom: float
    text: str


def _pdf(
    folder: Path,
    drill: midiforge.Drill,
    paper: str = "a4",
    large: bool = False,
    counts: bool = False,
) -> Path:
    path = folder / "lesson.pdf"
    found = midiforge.exercises(drill)
    write_sheet(path, drill.title, found, drill.kit, paper_of(paper, large), counts)
    return path


def _words(pdf: Path) -> list[Word]:
    page = 0
    words = []
    # Control characters of fonts without a Unicode map would not be XML.
    text = re.sub("[\x00-\x08\x0b\x0c\x0e-\x1f]", "", said_by("pdftotext", "-bbox", pdf, "-"))
    for element in ElementTree.fromstring(text).iter():
        tag = element.tag.rpartition("}")[2]
        page += tag == "page"
        if tag == "word":
            box = [float(element.get(side, 0)) for side in ("xMin", "yMin", "xMax", "yMax")]
            words.append(Word(page, *box, element.text or ""))
    return words


def _rows(letters: Sequence[Word]) -> list[list[Word]]:
    """Words in rows, by the height they stand at."""
    rows: dict[tuple[int, int], list[Word]] = {}
    for word in letters:
        rows.setdefault((word.page, round(word.bottom)), []).append(word)
    return [sorted(rows[key], key=lambda word: word.left) for key in sorted(rows)]


def _as_printed(drill: midiforge.Drill) -> list[Score]:
    """The scores in the order of the pages, family by family."""
    return [
        score
        for family in families(midiforge.exercises(drill))
        for score in scores(each for _, tempos in family.pieces for each in tempos)
    ]


def _music(words: list[Word]) -> list[Word]:
    """The words after the front matter, which ends with the last caution."""
    return words[next(i for i, word in enumerate(words) if word.text == "musicians.") + 1 :]


@pytest.fixture(scope="module", params=[path.stem for path in EXAMPLES])
def example(request, tmp_path_factory):
    """An example's drill, its PDF on A4 and its words."""
    drill = midiforge.read_drill(str(EXAMPLES[0].parent / f"{request.param}.toml"))
    pdf = _pdf(tmp_path_factory.mktemp("pdf"), drill)
    return drill, pdf, _words(pdf)


@needs_poppler
def test_every_exercise_is_there_in_running_order_with_its_numbers(example) -> None:
    drill, pdf, _ = example
    # In the order of the page's content; families that go on are named in its head.
    text = " ".join(said_by("pdftotext", "-raw", pdf, "-").split())
    text = text.replace("\N{SCRIPT SMALL L}", "l")
    at = text.index("Look after yourself")
    for family in families(midiforge.exercises(drill)):
        heads = [family.title] if family.thing else []
        heads += [
            f"{tempos[0].number.piece} {way or family.title}" for way, tempos in family.pieces
        ]
        for head in heads:
            found = text.find(head, at)
            assert found > at, head
            at = found


@needs_poppler
def test_title_cautions_key_and_page_numbers_are_printed(example) -> None:
    drill, pdf, words = example
    pages = pages_of(pdf)
    text = " ".join(word.text for word in words)
    assert text.startswith(drill.title)
    for wanted in ("Practice order", "Key", "Weinberg", "hearing", "warm up", "doctor", "reached"):
        assert wanted in text
    for page in range(1, pages + 1):
        on_page = " ".join(word.text for word in words if word.page == page)
        assert f"{page} / {pages}" in on_page


@needs_poppler
def test_letters_below_the_notes_spell_the_sticking(example) -> None:
    drill, _, words = example
    rows = _rows(_music(words))
    printed = [
        "".join(word.text for word in row if word.text not in "\N{SCRIPT SMALL L}r") for row in rows
    ]
    printed = [row for row in printed if set(row) <= set("RL")]
    wanted = ""
    for score in _as_printed(drill):
        for bar in score.bars:
            hands = bar.voice(HANDS_VOICE)
            if hands:
                letters = "".join(note.sticking for note in hands.notes)
                # A bar like the one before is written out only where it begins a line.
                wanted += f"(?:{letters})?" if bar.is_repeat else letters
    # "Together: R with the right foot" says hands in words; rows of letters alone are music.
    assert re.fullmatch(wanted, "".join(printed))


@needs_poppler
@pytest.mark.parametrize(("paper", "large"), [("a4", False), ("letter", False), ("letter", True)])
def test_nothing_is_cut_off_or_off_the_page(example, paper, large, tmp_path) -> None:
    drill, _, _ = example
    pdf = _pdf(tmp_path, drill, paper, large, counts=True)
    size = re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", said_by("pdfinfo", pdf))
    width, height = float(size[1]), float(size[2])
    assert (width, height) == pytest.approx(POINTS[paper], abs=0.5)
    margin = round(6 / 25.4 * 60)
    for page, (across, down, grey) in enumerate(pictures_of(pdf), 1):
        rows = [grey[i * across : (i + 1) * across] for i in range(down)]
        assert min(min(row) for row in rows) < 128, "an empty page"
        edge = [*rows[:margin], *rows[-margin:]]
        edge += [row[:margin] for row in rows] + [row[-margin:] for row in rows]
        assert min(min(row) for row in edge) > 200, f"ink in the margin of page {page}"


@needs_poppler
def test_a_heading_is_never_parted_from_its_music(example) -> None:
    drill, pdf, words = example
    pictures = [*pictures_of(pdf)]
    heads = [word for word in _music(words) if word.text == "reached"]
    assert len(heads) == len(_as_printed(drill))
    for head in heads:
        across, _, grey = pictures[head.page - 1]
        scale = 60 / 72
        below = grey[
            int((head.bottom + 2) * scale) * across : int((head.bottom + 140) * scale) * across
        ]
        rows = [below[i : i + across] for i in range(0, len(below) - across, across)]
        # A staff line is a run of ink; letters are not.
        assert max(sum(value < 160 for value in row) for row in rows) > 60, head


@needs_poppler
def test_all_fonts_are_embedded(example) -> None:
    _, pdf, _ = example
    lines = said_by("pdffonts", pdf).splitlines()[2:]
    assert lines
    for line in lines:
        embedded, subset, unicode_map = line.split()[-5:-2]
        assert (embedded, subset, unicode_map) == ("yes", "yes", "yes"), line


@needs_poppler
@pytest.mark.parametrize(("large", "space"), [(False, 1.7), (True, 2.5)])
def test_large_print_has_a_larger_staff(large, space, tmp_path) -> None:
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "feet": "tumbao", "stages": "full"})
    pdf = _pdf(tmp_path, drill, large=large)
    dots = 300
    across, down, grey = picture(pdf, 1, dots)
    dark = [sum(v < 128 for v in grey[i * across : (i + 1) * across]) for i in range(down)]
    lines = [i for i, count in enumerate(dark) if count > 0.55 * across and dark[i - 1] < count / 2]
    steps = [(two - one) / dots * 25.4 for one, two in pairwise(lines)]
    staff = [step for step in steps if step < 4]
    assert len(staff) == 4
    assert staff == pytest.approx([space] * 4, abs=0.1)


@needs_poppler
def test_names_with_markup_quotes_and_other_scripts_come_out_as_text(tmp_path) -> None:
    title = 'Knot <b>#let x = "1"</b> $a_b$ *not bold* \\ @ref [x] // Größe'
    drill = midiforge.check_drill({"title": title, "sticking": "RL", "feet": "x..."})
    words = _words(_pdf(tmp_path, drill))
    text = " ".join(word.text for word in words)
    assert text.startswith(title)
    drill = midiforge.check_drill({"title": "練習 الدرس 😀 \u202e \x07", "sticking": "RL"})
    assert _pdf(tmp_path, drill).stat().st_size > 1000


@needs_poppler
def test_a_late_entry_and_a_form_are_said_above_the_music(tmp_path) -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "placements": "+2", "entry": "late", "feet": "x...",
         "stages": "full", "repeats": 3}
    )  # fmt: skip
    text = " ".join(word.text for word in _words(_pdf(tmp_path, drill)))
    assert "First time only" in text and "3 times" in text
    drill = midiforge.check_drill(
        {"sticking": "RLRR LRLL", "form": "2 call 2 response", "stages": "hands"}
    )
    text = " ".join(word.text for word in _words(_pdf(tmp_path, drill)))
    assert "Call" in text and "Response: you alone" in text


def test_the_same_drill_gives_the_same_bytes(tmp_path) -> None:
    pytest.importorskip("typst")
    drill = midiforge.check_drill({"sticking": "RLRR LRLL", "feet": "tumbao"})
    first = _pdf(tmp_path, drill).read_bytes()
    assert _pdf(tmp_path, drill).read_bytes() == first


@needs_poppler
def test_long_exercises_fill_their_pages_and_no_line_of_music_stands_alone(tmp_path) -> None:
    drill = midiforge.check_drill(
        {"sticking": "RLRRL", "meter": "13/8", "steps": 2, "placements": [0, 1, 2, 3, 4],
         "feet": "x..x .... ..xx .... xx x.", "tempos": 80}
    )  # fmt: skip
    pdf = _pdf(tmp_path, drill, counts=True)
    pictures = [*pictures_of(pdf)]
    for page, (across, down, grey) in enumerate(pictures, 1):
        rows = [grey[i * across : (i + 1) * across] for i in range(round(down * 0.93))]
        inked = [number for number, row in enumerate(rows) if min(row) < 128]
        if page < len(pictures):
            assert inked[-1] > 0.72 * down, f"page {page} ends early"
        staff = [sum(value < 160 for value in row) > across / 3 for row in rows]
        lines = sum(now and not before for before, now in pairwise([False, *staff]))
        assert lines > 5, f"page {page} has a single line"


@needs_poppler
@pytest.mark.parametrize(
    ("paper", "large"), [("a4", False), ("letter", False), ("a4", True), ("letter", True)]
)
def test_no_page_but_the_last_is_more_than_a_fifth_blank(example, paper, large, tmp_path) -> None:
    drill, _, _ = example
    pdf = _pdf(tmp_path, drill, paper, large)
    for page, share in enumerate(blanks(pdf)[:-1], 1):
        assert share < 0.2, f"page {page}"


@needs_poppler
def test_the_cautions_stand_together(tmp_path) -> None:
    drill = midiforge.read_drill(str(EXAMPLES[0]))
    words = _words(_pdf(tmp_path, drill, "letter", large=True))
    first = next(
        word for word, then in pairwise(words) if (word.text, then.text) == ("Look", "after")
    )
    assert {word.page for word in words if word.text == "musicians."} == {first.page}
