"""Speed of the pages, as ratios taken in one run: `python tests/benchmark_pages.py`.
The third alone: `python tests/benchmark_pages.py frames`.

1. A lesson of 40 exercises as MusicXML, against the same notes put together and written by
   music21: as it writes by default, and told that the notes are notation already.
2. The same lesson as booklets: seconds a page, whether twice the exercises take twice as long,
   and how large the files are.
3. Frames a second while a page plays, its cursor moves and strokes are shown, in Chromium with a
   processor four times as slow.
"""

import gc
import re
import statistics
import sys
import time
from collections.abc import Callable
from functools import partial
from itertools import islice, pairwise
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from xml.etree import ElementTree

import music21
from browser import chromium, press_play, sized
from music21 import articulations, bar, duration, expressions, meter, note, percussion, stream
from music21.musicxml.m21ToXml import GeneralObjectExporter

import midiforge
from midiforge.kits.kit import Kit
from midiforge.notation import Score, scores
from midiforge.notation.score import FEET_VOICE, HANDS_VOICE, Group, Head, Note, Voice
from midiforge.pages.musicxml import musicxml
from midiforge.pages.paper import paper_of
from midiforge.pages.sheet import write_sheet

EXERCISES = 40
EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
DRILL = {
    "title": "Moored in pairs",
    "sticking": ">RL(R)R rL>RL(L)",
    "feet": "tumbao",
    "placements": "phrase",
    "accents": ["own", "beats", "none"],
    "steps": [4, 3],
    "repeats": 2,
    "stages": "full",
}


# The same with music21


def with_music21(written: list[Score], notate: bool) -> bytes:
    """The lesson's notes, beams, tuplets, marks and letters as music21's objects, written.

    notate: whether music21 looks through them for what is missing, as it does by default.
    """
    part = stream.Part()
    last_meter = ""
    number = 0
    for score in written:
        for passage in score.passages:
            for each in passage.bars:
                number += 1
                measure = stream.Measure(number=number)
                if str(score.exercise.meter) != last_meter:
                    last_meter = str(score.exercise.meter)
                    measure.timeSignature = meter.TimeSignature(last_meter)
                if passage.times > 1 and each is passage.bars[0]:
                    measure.leftBarline = bar.Repeat(direction="start")
                if passage.times > 1 and each is passage.bars[-1]:
                    measure.rightBarline = bar.Repeat(direction="end", times=passage.times)
                for name, stem in ((HANDS_VOICE, "up"), (FEET_VOICE, "down")):
                    voice = each.voice(name)
                    if voice:
                        measure.insert(0, _voice(voice, stem))
                part.append(measure)
    exporter = GeneralObjectExporter(stream.Score([part]))
    exporter.makeNotation = notate
    content: bytes = exporter.parse()
    return content


def _voice(voice: Voice, stem: str) -> stream.Voice:
    found = stream.Voice(id="1" if voice.name == HANDS_VOICE else "2")
    for group in voice.groups:
        notes = [_note(each, group, stem) for each in group.notes]
        if group.tuplet:
            notes[0].duration.tuplets[0].type = "start"
            notes[-1].duration.tuplets[0].type = "stop"
        if group.beam:
            _beam(group, notes)
        for each, made in zip(group.notes, notes, strict=True):
            for head in each.grace:
                grace = _head(head, stem)
                grace.duration = duration.Duration("eighth" if len(each.grace) == 1 else "16th")
                grace.addLyric(head.hand.lower(), 1)
                found.append(grace.getGrace(inPlace=False))
            found.append(made)
    return found


def _note(written: Note, group: Group, stem: str) -> note.GeneralNote:
    heads = [_head(head, stem) for head in written.heads]
    made: note.GeneralNote
    if not heads:
        made = note.Rest()
    elif len(heads) == 1:
        made = heads[0]
    else:
        made = percussion.PercussionChord(heads)
    length = duration.Duration(written.value.name, dots=int(written.value.dotted))
    if group.tuplet:
        tuplet = duration.Tuplet(group.tuplet.actual, group.tuplet.normal, group.tuplet.unit)
        length.appendTuplet(tuplet)
    made.duration = length
    if written.is_accented:
        made.articulations.append(articulations.Accent())
    if written.is_buzz:
        made.expressions.append(expressions.Tremolo())
    if written.sticking:
        made.addLyric(written.sticking, 1)
    return made


def _head(head: Head, stem: str) -> note.Unpitched:
    made = note.Unpitched()
    made.displayStep, made.displayOctave = head.sign.step, head.sign.octave
    made.notehead = head.sign.head
    made.noteheadParenthesis = head.is_ghost
    made.stemDirection = stem
    return made


def _beam(group: Group, notes: list[note.GeneralNote]) -> None:
    """One beam over the group; music21 is spared working out the secondary ones."""
    assert group.beam
    first, last = group.beam
    for i in range(first, last + 1):
        if isinstance(notes[i], note.NotRest):
            word = "start" if i == first else "stop" if i == last else "continue"
            notes[i].beams.append(word)


# Both, side by side


def notes_of(content: bytes) -> int:
    """How many noteheads a document has."""
    return sum(1 for _ in ElementTree.fromstring(content).iter("unpitched"))


def seconds(work: Callable[[], object]) -> float:
    gc.collect()
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def lesson() -> tuple[list[Score], Kit]:
    drill = midiforge.check_drill(DRILL)
    written = list(islice(scores(midiforge.exercises(drill)), EXERCISES))
    assert len(written) == EXERCISES
    return written, drill.kit


def musicxml_against_music21(rounds: int = 5) -> None:
    written, kit = lesson()
    ways: dict[str, Callable[[], bytes]] = {
        "midiforge": lambda: musicxml("", written, kit),
        "music21": lambda: with_music21(written, notate=True),
        "music21, notated": lambda: with_music21(written, notate=False),
    }
    heads, *others = (notes_of(work()) for work in ways.values())
    assert others == [heads] * len(others), "all must write the same notes"
    taken = [[seconds(work) for work in ways.values()] for _ in range(rounds)]
    bars = sum(1 for score in written for _ in score.bars)
    print(f"a lesson as MusicXML ({EXERCISES} exercises, {bars} bars, {heads} noteheads)")
    for name, column in zip(ways, zip(*taken, strict=True), strict=True):
        print(f"  {name:16} {1000 * statistics.median(column) / EXERCISES:8.3f} ms an exercise")
    for i, least in ((1, 20), (2, 8)):
        ratio = statistics.median(row[i] / row[0] for row in taken)
        print(f"  {ratio:.1f} times as fast as {list(ways)[i]} (at least {least})")
    most = max(row[0] for row in taken)
    print(f"  the lesson takes {most:.3f} s at most (at most 0.3)")


def booklets(rounds: int = 3) -> None:
    """Seconds a page, engraving and typesetting together, next to music21's MusicXML of it."""
    drill = midiforge.check_drill(DRILL)
    lesson_of = list(islice(midiforge.exercises(drill), EXERCISES))
    written, _ = lesson()
    bars = [sum(1 for _ in score.bars) for score in written]
    more = sum(bars) / sum(bars[: EXERCISES // 2])
    paper = paper_of("a4")
    with TemporaryDirectory() as folder:
        for ending in (".pdf", ".html", ".svg"):
            path = Path(folder) / f"lesson{ending}"
            taken = {
                count: statistics.median(
                    seconds(partial(write_sheet, path, "", lesson_of[:count], drill.kit, paper))
                    for _ in range(rounds)
                )
                for count in (EXERCISES // 2, EXERCISES)
            }
            whole = taken[EXERCISES]
            print(
                f"a booklet of {EXERCISES} exercises as {ending}: {whole:.2f} s (at most 2), "
                f"{whole / taken[EXERCISES // 2]:.2f} times that of half of it, "
                f"with {more:.1f} times the bars, "
                f"{path.stat().st_size / 1000:.0f} kB"
            )
            if ending == ".pdf":
                pages = len(re.findall(rb"/Type\s*/Page\b", path.read_bytes()))
                slow = seconds(lambda: with_music21(written, notate=True))
                print(
                    f"  {whole / pages:.3f} s a page for {pages} pages; music21 takes "
                    f"{slow / pages:.3f} s a page for the MusicXML alone"
                )


# The page on a screen, slowed down

SLOWER, FRAMES_OF = 4, 8.0  # times; seconds that are looked at
_PARTS = ("script", "style", "layout")
_COUNT_FRAMES = """
const done = arguments[1], times = [];
const frame = (time) => {
  times.push(time);
  if (time - times[0] < 1000 * arguments[0]) requestAnimationFrame(frame);
  else done(times);
};
requestAnimationFrame(frame);
"""


def frames() -> None:
    """Frames a second of each example's fullest exercise, on a screen and on a telephone."""
    with TemporaryDirectory() as folder:
        profile = Path(folder) / "profile"
        for browser in chromium(profile):
            for path in EXAMPLES:
                drill = midiforge.read_drill(str(path))
                page = Path(folder) / "lesson.html"
                write_sheet(page, "", midiforge.exercises(drill), drill.kit, paper_of("a4"))
                told = [f"{_frames(browser, page, width)} at {width} px" for width in (1280, 390)]
                print(f"  {path.stem}: {', '.join(told)}")


def _frames(browser: Any, page: Path, width: int) -> str:
    sized(browser, width, 844)
    browser.get(page.as_uri())
    fullest = browser.execute_script(
        "const music = [...document.querySelectorAll('.exercise')];"
        "return music.sort((a, b) => b.querySelectorAll('.system *').length"
        " - a.querySelectorAll('.system *').length)[0].id"
    )
    browser.execute_script("document.querySelector('.player-strokes').click()")
    press_play(browser, fullest)
    time.sleep(1)
    browser.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": SLOWER})
    before = _busy(browser)
    times = browser.execute_async_script(_COUNT_FRAMES, FRAMES_OF)
    busy = [after - then for after, then in zip(_busy(browser), before, strict=True)]
    browser.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": 1})
    lasting = sorted(after - before for before, after in pairwise(times))
    rate = 1000 * len(lasting) / (times[-1] - times[0])
    whole, *parts = (100 * part / FRAMES_OF for part in busy)
    told = ", ".join(f"{word} {part:.0f}" for word, part in zip(_PARTS, parts, strict=True))
    worst = lasting[len(lasting) * 99 // 100]
    return f"{rate:.0f} (99 of 100 within {worst:.0f} ms; {whole:.0f} % busy: {told})"


def _busy(browser: Any) -> list[float]:
    """Seconds that the page's thread was busy, and with what."""
    browser.execute_cdp_cmd("Performance.enable", {})
    answer = browser.execute_cdp_cmd("Performance.getMetrics", {})
    metrics = {each["name"]: each["value"] for each in answer["metrics"]}
    names = ("TaskDuration", "ScriptDuration", "RecalcStyleDuration", "LayoutDuration")
    return [metrics[name] for name in names]


if __name__ == "__main__":
    print(f"Python {sys.version.split()[0]}, music21 {music21.__version__}")
    if sys.argv[1:] != ["frames"]:
        musicxml_against_music21()
        booklets()
    print(f"a page that plays, on a processor {SLOWER} times as slow (60 frames a second are all)")
    frames()
