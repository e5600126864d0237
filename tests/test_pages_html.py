"""The booklet as one HTML file, in a real browser: what is where, at the size of a desk's screen,
of a telephone's and of paper, and what its player is told."""

import json
import re
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from browser import chromium, on_paper, page_of, played, press_play, sized
from poppler import blanks, needs_poppler

import midiforge
from midiforge.kits.kit import read_kit
from midiforge.model.exercise import Exercise
from midiforge.model.family import families
from midiforge.pages.paper import paper_of
from midiforge.pages.sheet import write_sheet

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
DENSE: dict[str, dict[str, Any]] = {
    "thirty-seconds": {"sticking": "RLRR LRLL", "steps": 8, "feet": "tumbao"},
    "twelve to the beat": {"sticking": "RLL", "steps": 12, "feet": "x..x", "meter": "3/4"},
    "drags in sevens": {"sticking": "llR L rrL R >R Lz (L)", "steps": 7, "feet": "1 2 3"},
    "five against four": {"sticking": ">RLRLL", "steps": 5, "feet": "samba"},
    "mixed": {
        "sticking": "R(L)K",
        "meter": "2+2+3/8",
        "feet": "1 2 3 on LF",
        "layers": "x.xx.xx as cowbell",
    },
    "both hands": {"sticking": "B R+K L H", "voicing": "RH=ride,LH=snare"},
    "eighths over sixteenths": {"sticking": "RLRR LRLL", "steps": 2, "feet": "1 2a 3 4e"},
    "swell": {
        "sticking": "llR(L)L rLR(R)L R",
        "steps": 3,
        "dynamics": "crescendo 50% to 100% over 2 bars",
        "meter": "5/4",
    },
    "cut time": {"sticking": "lR lR", "meter": "2/2", "steps": 8, "feet": "1"},
}


def _html(folder: Path, drill: midiforge.Drill, counts: bool = True, large: bool = False) -> Path:
    return page_of(folder, drill, counts, large)


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


# Boxes of everything drawn: noteheads and rests (uses), letters (text), by the piece they are in.
_MEASURE = """
const box = (e) => {
  const b = e.getBoundingClientRect();
  return [b.left, b.top, b.right, b.bottom];
};
return [...document.querySelectorAll('svg.system')].map((svg) => ({
  svg: box(svg),
  letters: [...svg.querySelectorAll('text:not(.clef *, defs *)')].filter(
    (t) => t.getClientRects().length).map((t) => [t.getAttribute('class'), t.textContent, box(t)]),
  signs: [...svg.querySelectorAll('use:not(.clef *, defs *)')].map(
    (u) => [u.getAttribute('href').slice(2), box(u)]),
}));
"""
_HEADS = {"E0A2", "E0A3", "E0A4", "E0A9", "E0B3", "E0DB", "E0B9", "E0CF", "E0E2"}  # SMuFL noteheads


def _ink(kind: str, box: list[float]) -> list[float]:
    """What a letter's box has of ink: capitals have none below the line they stand on."""
    left, top, right, bottom = box
    return [left, top, right, top + 0.8 * (bottom - top) if kind.startswith("hand") else bottom]


def _overlap(one: list[float], two: list[float], by: float = 0.5) -> bool:
    return (
        one[0] < two[2] - by and two[0] < one[2] - by
        and one[1] < two[3] - 2 * by and two[1] < one[3] - 2 * by  # room above letters counts
    )  # fmt: skip


def _drills() -> Iterator[Any]:
    for path in EXAMPLES:
        yield pytest.param(lambda path=path: midiforge.read_drill(str(path)), id=path.stem)
    for name, keys in DENSE.items():
        drill = {"title": name, "tempos": 60, **keys}
        yield pytest.param(lambda drill=drill: midiforge.check_drill(drill), id=name)


@pytest.mark.parametrize("width", [1280, 360])
@pytest.mark.parametrize("made", [*_drills()])
def test_letters_stand_below_their_notes_and_nothing_overlaps(
    browser: Any, tmp_path: Path, made: Any, width: int
) -> None:
    sized(browser, width, 900)
    browser.get(_html(tmp_path, made()).as_uri())
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    assert wide <= width, "the page scrolls sideways"
    for piece in browser.execute_script(_MEASURE):
        left, top, right, bottom = piece["svg"]
        assert left >= -0.5 and right <= width + 0.5
        letters = [(kind, text, box) for kind, text, box in piece["letters"]]
        heads = [box for sign, box in piece["signs"] if sign in _HEADS]
        for kind, text, box in letters:
            assert top - 1 <= box[1] and box[3] <= bottom + 1, f"{text} is cut off"
            if kind.startswith("hand"):
                middle = (box[0] + box[2]) / 2
                nearest = min(abs((head[0] + head[2]) / 2 - middle) for head in heads)
                assert nearest < 1.5, f"{text} is {nearest} px beside its note"
                assert box[1] > max(
                    head[3] for head in heads if abs((head[0] + head[2]) / 2 - middle) < 1.5
                ) - 1.5  # fmt: skip
        drawn = [(text, _ink(kind, box)) for kind, text, box in letters]
        for i, (text, box) in enumerate(drawn):
            for other, beside in drawn[i + 1 :]:
                assert not _overlap(box, beside, by=1.5), f"{text} and {other} overlap"
        for sign, box in piece["signs"]:
            assert box[0] >= left - 2 and box[2] <= right + 2, f"{sign} is off its bar"
            assert box[1] >= top - 2 and box[3] <= bottom + 2, f"{sign} is cut off"


def _data(path: Path) -> list[dict[str, Any]]:
    found = re.search(r'id="lesson-sound">(.*?)</script>', path.read_text("utf-8"), re.DOTALL)
    assert found
    exercises: list[dict[str, Any]] = json.loads(found[1])["exercises"]
    return exercises


def _at_first_tempos(drill: midiforge.Drill) -> list[Exercise]:
    """As they stand on the page: family by family."""
    groups = families(midiforge.exercises(drill))
    return [tempos[0] for family in groups for _, tempos in family.pieces]


@pytest.mark.parametrize("made", [*_drills()])
def test_the_player_is_told_the_exercise_as_it_is_performed(tmp_path: Path, made: Any) -> None:
    pytest.importorskip("verovio")
    drill = made()
    told = _data(_html(tmp_path, drill))
    kit = read_kit("general-midi-1")
    lesson = _at_first_tempos(drill)
    assert len(told) == len(lesson)
    for each, exercise in zip(told, lesson, strict=True):
        assert each["id"] == f"n{exercise.number.piece}"
        length = exercise.loop_start + exercise.returns_after_bars * exercise.meter.bar
        # Those beside the drummer may need more turns to come round, and so may a swell.
        # Gaps of the click, and the tempos of a ramp, go on for longer than strokes.
        has_gap = drill.gap is not None or len(exercise.tempo.changes) > 1
        if exercise.band or exercise.dynamics.points or has_gap:
            turns = Fraction(each["length"]) / (exercise.returns_after_bars * exercise.meter.bar)
            assert turns.denominator == 1
            length = exercise.loop_start + Fraction(each["length"])
            assert length <= exercise.length
        assert each["entry"] + each["length"] == float(length)
        assert [time for time, _ in each["clock"]][-1] == float(length)
        for place, seconds in each["clock"]:
            time = Fraction(place).limit_denominator(960)
            lasting = exercise.tempo.seconds(-exercise.count_in, time)
            lasting -= exercise.tempo.seconds(-exercise.count_in, Fraction(0))
            assert seconds == pytest.approx(float(lasting), abs=1e-6)
        wanted = [
            (float(note.time), note.number, note.velocity)
            for note in midiforge.notes(exercise, kit)
            if note.offset == 0 and note.time < length
        ]
        if not drill.touch.timing_ms:
            given = [(t, number, v) for t, number, v, _, *off in played(each) if not off]
            assert [n for _, n, _ in given] == [n for _, n, _ in wanted]
            assert [v for _, _, v in given] == [v for _, _, v in wanted]
            assert [t for t, _, _ in given] == pytest.approx([t for t, _, _ in wanted], abs=1e-6)


def test_the_legend_tells_the_sign_for_the_same_bar_only_where_it_stands(tmp_path: Path) -> None:
    pytest.importorskip("verovio")
    for form, has_it in (("2 call 2 response", True), ("1 call 1 response", False)):
        drill = midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "full", "form": form})
        page = _html(tmp_path, drill).read_text("utf-8")
        assert ("the strokes of the bar before" in page) == has_it
        assert ('href="#gE500"' in page) == has_it


@pytest.mark.parametrize("made", [*_drills()])
def test_the_cursor_stands_on_the_note_that_sounds(browser: Any, tmp_path: Path, made: Any) -> None:
    sized(browser, 1280, 900)
    path = _html(tmp_path, made())
    browser.get(path.as_uri())
    for each in _data(path):
        heads = browser.execute_script(
            """
            const section = document.getElementById(arguments[0]);
            return [...section.querySelectorAll('svg.system')].map((svg) => {
              const inverse = svg.getScreenCTM().inverse();
              return [...svg.querySelectorAll('use')].map((use) => {
                const b = use.getBoundingClientRect();
                const at = new DOMPoint((b.left + b.right) / 2, 0).matrixTransform(inverse);
                return [use.getAttribute('href').slice(2), at.x];
              });
            });
            """,
            each["id"],
        )
        similes = {line for line, signs in enumerate(heads) if any(s == "E500" for s, _ in signs)}
        places = {round(time, 4): (line, x) for time, line, x in each["cursor"]}
        times = [time for time, _, _ in each["cursor"]]
        assert times == sorted(times)
        for time, _, _, part, *_ in played(each):
            if part not in ("hands", "feet"):
                continue
            line, x = places[round(time, 4)]
            if line not in similes:
                nearest = min(abs(x - at) for sign, at in heads[line] if sign in _HEADS)
                assert nearest < 1.5, (each["id"], time)


@pytest.mark.parametrize("made", [*_drills()])
def test_printed_by_the_browser_it_is_a_booklet_on_the_paper_asked_for(
    browser: Any, tmp_path: Path, made: Any
) -> None:
    browser.get(_html(tmp_path, made()).as_uri())
    content = on_paper(browser)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", content)
    assert boxes
    for width, height in boxes:
        assert (float(width), float(height)) == pytest.approx((595.3, 841.9), abs=1)


def test_grace_notes_in_a_title_are_no_eleven(tmp_path: Path) -> None:
    drill = midiforge.check_drill({"sticking": "llR lRL", "stages": "full", "feet": "samba"})
    [title] = re.findall(r"<h2.*?</span> (.*?)</h2>", _html(tmp_path, drill).read_text("utf-8"))[
        -1:
    ]
    assert "\u2113\u2113R" in title and "\u2113RL" in title
    assert "samba" in title.lower() or "full" in title  # and no other word has one


@needs_poppler
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_a_print_s_pages_are_filled_too(browser: Any, tmp_path: Path, path: Path) -> None:
    # A browser stretches nothing: in large print what does not fit leaves up to three tenths.
    drill = midiforge.read_drill(path)
    exercises = list(midiforge.exercises(drill))
    page, pdf = tmp_path / "lesson.html", tmp_path / "print.pdf"
    for name, is_large in (("a4", False), ("letter", False), ("letter", True)):
        write_sheet(page, drill.title, exercises, drill.kit, paper_of(name, is_large))
        browser.get(page.as_uri())
        pdf.write_bytes(on_paper(browser))
        empty = blanks(pdf)[:-1]
        assert max(empty, default=0) < (0.3 if is_large else 0.2), (name, is_large, empty)


def test_nothing_is_loaded_from_elsewhere_and_nothing_goes_wrong(
    browser: Any, tmp_path: Path
) -> None:
    path = _html(tmp_path, midiforge.read_drill(str(EXAMPLES[0])))
    text = path.read_text("utf-8")
    addresses = set(re.findall(r"(?:https?:)?//[\w.]+[^\s\"'<)]*", text))
    assert addresses <= {"http://www.w3.org/2000/svg"}
    browser.get_log("performance")
    browser.get(path.as_uri())
    asked = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    urls = [
        each["params"]["request"]["url"]
        for each in asked
        if each["method"] == "Network.requestWillBeSent"
    ]
    assert [url for url in urls if not url.startswith("data:")] == [path.as_uri()]
    assert [e for e in browser.get_log("browser") if e["level"] == "SEVERE"] == []


def test_with_scripts_off_the_page_reads_well(browser: Any, tmp_path: Path) -> None:
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
        body = browser.find_element("css selector", "body").text
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert "With scripts switched on" in body
    assert "Play\n" not in body
    assert "Bossa nova, feet alone" in body


def test_a_student_can_hear_every_exercise_of_the_page(browser: Any, tmp_path: Path) -> None:
    drill = midiforge.read_drill(str(EXAMPLES[0]))
    path = _html(tmp_path, drill)
    browser.get(path.as_uri())
    told = {each["id"]: each for each in _data(path)}
    press_play(browser, "n5")
    browser.execute_async_script(
        "const done = arguments[0]; const wait = () => lessonPlayer.scheduled.some("
        "(each) => each.kind === 'note') ? done() : setTimeout(wait, 20); wait();"
    )
    start, tempo, scheduled = browser.execute_script(
        "return [lessonPlayer.startTime, lessonPlayer.tempo, lessonPlayer.scheduled]"
    )
    press_play(browser, "n5")
    exercise = told["n5"]
    assert tempo == exercise["tempos"][0] == 58
    first = next(each for each in scheduled if each["kind"] == "note")
    second = 60 / tempo / float(drill.meter.pulse)
    count_in = drill.count_in * float(drill.meter.bar) * second
    assert first["time"] == pytest.approx(start + count_in + first["at"] * second, abs=1e-3)
    strokes = [each for each in played(exercise) if each[3] in ("hands", "feet")]
    assert [first["note"], first["velocity"]] == strokes[0][1:3]


def test_names_with_markup_come_out_as_text(browser: Any, tmp_path: Path) -> None:
    title = '</script><script>window.broken = 1</script> <b>&amp; "quoted" \' 練習 الدرس'
    drill = midiforge.check_drill({"title": title, "sticking": "RL", "feet": "x..x"})
    browser.get(_html(tmp_path, drill).as_uri())
    assert browser.execute_script("return window.broken") is None
    assert browser.find_element("css selector", "h1").text.split() == title.split()
    assert browser.title.split() == title.split()


def test_forty_exercises_are_less_than_a_megabyte(tmp_path: Path) -> None:
    pytest.importorskip("verovio")
    drill = midiforge.check_drill(
        {"sticking": ">RLRR >LRLL R-L-", "placements": "phrase", "feet": "tumbao",
         "accents": ["own", "beats", "none"], "stages": ["hands", "full"], "tempos": [60, 80]}
    )  # fmt: skip
    lesson = list(midiforge.exercises(drill))[:80]
    path = tmp_path / "forty.html"
    write_sheet(path, drill.title, lesson, drill.kit, paper_of("a4"), True)
    assert len(_data(path)) == 40
    assert path.stat().st_size < 1_000_000


def test_swing_is_written_straight_and_heard_swung(tmp_path: Path) -> None:
    pytest.importorskip("verovio")
    drill = midiforge.check_drill({"sticking": "RL", "steps": 2, "swing": "2:1", "stages": "hands"})
    path = _html(tmp_path, drill)
    [each] = _data(path)
    [tempos] = re.findall(r'<p class="tempos">(.*?)</p>', path.read_text("utf-8"))
    assert "swung eighths 2:1" in tempos  # beside the tempo, where a drummer looks
    struck = [time for time, _, _, part, *_ in played(each) if part == "hands"]
    assert struck[1] == pytest.approx(float(Fraction(2, 3)), abs=1e-6)


def test_a_count_that_nobody_speaks_is_explained_where_it_occurs(tmp_path: Path) -> None:
    pytest.importorskip("verovio")
    keys = {"sticking": "RLRRL", "steps": 6, "stages": "hands"}
    page = _html(tmp_path, midiforge.check_drill({**keys, "placements": ["+1"]})).read_text("utf-8")
    assert "<dt>1.2</dt><dd>step 2 of beat 1, which has no syllable of its own</dd>" in page
    page = _html(tmp_path, midiforge.check_drill({**keys, "placements": ["+2"]})).read_text("utf-8")
    assert "no syllable" not in page


def test_letters_of_grace_notes_can_be_read_on_a_telephone(browser: Any, tmp_path: Path) -> None:
    sized(browser, 360, 640)
    drill = midiforge.check_drill({"sticking": "lR rL llR rrL RLRR LRLL", "stages": "hands"})
    browser.get(_html(tmp_path, drill).as_uri())
    letters = browser.execute_script(
        "return [...document.querySelectorAll('svg.system text.hand')].map((t) => "
        "[t.textContent, parseFloat(t.getAttribute('font-size')) * t.getScreenCTM().a])"
    )
    sizes = {size for text, size in letters if text.islower()}
    assert sizes and min(sizes) >= 12  # CSS pixels


def test_boxes_of_a_family_have_the_tempos_to_tick(tmp_path: Path) -> None:
    for tempos, said in (("60, 72", ["60", "72"]), ("60", ["60"])):
        drill = midiforge.check_drill(
            {"sticking": "RLL", "placements": "1, 1e", "stages": "hands", "tempos": tempos}
        )
        page = _html(tmp_path, drill).read_text("utf-8")
        rows = re.findall(r'<span class="ticks">(.*?)<span class="reached">', page)
        assert [re.findall(r"<span class=tempo>(.*?)</span>", row) for row in rows] == [said, said]


def test_on_a_telephone_the_sign_for_the_bar_before_stands_behind_it(
    browser: Any, tmp_path: Path
) -> None:
    """A bar that takes two lines leaves room behind its second half."""
    path = _html(tmp_path, midiforge.read_drill(str(EXAMPLES[5])))
    sized(browser, 390, 844)
    browser.get(path.as_uri())
    lines = browser.execute_script(
        """
        return [...document.querySelectorAll('.music')].flatMap((music) => {
          const lines = Object.groupBy(music.querySelectorAll('svg.system'),
            (svg) => Math.round(svg.getBoundingClientRect().bottom));
          return Object.values(lines).map((line) => line.map(
            (svg) => !!svg.querySelector('use[href="#gE500"]')));
        });
        """
    )
    assert [True] not in lines and [False, True] in lines
