"""Every rudiment over every ostinato, in every output.

By hand all of them: `python tests/combinations.py`. The suite goes through enough of them to meet
every rudiment and every ostinato (test_combinations.py).
"""

import re
import sys
import time
import traceback
from collections.abc import Iterator
from functools import cache
from itertools import product
from pathlib import Path
from tempfile import TemporaryDirectory
from xml.etree import ElementTree

import midiforge
from midiforge.drill.drill import Drill
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.widths import Layout
from midiforge.hear.choice import reviewed
from midiforge.hear.take import read_take
from midiforge.library import shelf
from midiforge.live.playing.bars import playable
from midiforge.live.playing.route import Route, always
from midiforge.live.screen.display import Display
from midiforge.loops import Shape, loops
from midiforge.midi.reading import parse
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK, OrnamentKind
from midiforge.notation import scores
from midiforge.pages.booklet import Booklet, booklet
from midiforge.pages.html import WIDEST, html
from midiforge.pages.musicxml import musicxml
from midiforge.pages.paper import paper_of
from midiforge.pages.pdf import pdf
from midiforge.pages.svg import svg
from midiforge.screen.show import exercise_lines

PAPER = paper_of("a4")
_engraver = cache(Engraver)  # one for all, as a bar that is known is not engraved again
_Z = "E22A"  # the sign of a buzz; SMuFL


def drill_of(rudiment: str, ostinato: str) -> Drill:
    """The rudiment over the ostinato: at the feet, or beside the drummer."""
    kind = shelf.ostinato(ostinato).kind
    line = {"feet": ostinato} if kind == "foot" else {"layers": f"{ostinato} as cowbell"}
    keys = {"sticking": rudiment, **line, "stages": "full", "tempos": 80, "repeats": 4}
    return midiforge.check_drill(keys)


def everywhere(drill: Drill, file: Path) -> None:
    """Makes all that is made of a drill's last exercise, and looks whether its strokes are there.

    file: a MIDI file to be written.
    """
    exercise = [*midiforge.exercises(drill)][-1]
    _files(exercise, drill, file)
    _screens(exercise, drill)
    for loop in loops(drill, Shape()):
        assert not parse(midiforge.exercise_bytes(loop.exercise, drill.kit)).remarks
    _pages(exercise, drill)


def _files(exercise: Exercise, drill: Drill, file: Path) -> None:
    content = midiforge.exercise_bytes(exercise, drill.kit)
    assert not parse(content).remarks
    if any(hit.limb is None and hit.layer != CLICK for hit in exercise.hits):
        own = tuple(hit for hit in exercise.hits if hit.limb is not None)
        content = midiforge.exercise_bytes(exercise.changed(hits=own), drill.kit)
    file.write_bytes(content)
    tally = reviewed(read_take(file), [exercise], drill.kit, 1).review.tally
    assert (tally.missed, tally.extra) == (0, 0), "what is written is not what is heard"


def _screens(exercise: Exercise, drill: Drill) -> None:
    shown = "".join(text for line in exercise_lines(exercise, 100) for text, _ in line)
    assert exercise.title.split(",")[0] in shown
    bars = playable(exercise, drill.kit)
    sent = sum(len(moment.notes) for bar in bars.bars for moment in bar.moments)
    assert sent == len([*midiforge.notes(exercise, drill.kit)])
    display = Display(Route([exercise], lambda *_: bars, always(1)), set())
    while place := display.route.next_bar():
        display.bar(place)
        display.moment(0.0)
        assert display.frame(80, 24)


def _pages(exercise: Exercise, drill: Drill) -> None:
    line = PAPER.line
    paper = _booklet(exercise, Layout(line, fill=line))
    screen = _booklet(exercise, Layout(WIDEST))
    buzzes = {
        hit.time
        for hit in exercise.hits
        if hit.ornament and hit.ornament.kind is OrnamentKind.BUZZ and hit.layer != CLICK
    }
    [entry] = screen.entries
    written = {bar.number for bar in entry.score.bars}
    drawing = svg(paper, PAPER)
    page = html(screen, PAPER, drill.kit)
    for each in (drawing, musicxml("", scores([exercise]), drill.kit, paper=PAPER)):
        ElementTree.fromstring(each)
    [music] = re.findall(r'<div class="music".*?</section>', page, re.DOTALL)
    assert music.count(f"#g{_Z}") == sum(
        time // exercise.meter.bar + 1 in written for time in buzzes
    )
    assert pdf(paper, PAPER).startswith(b"%PDF")


def _booklet(exercise: Exercise, layout: Layout) -> Booklet:
    return booklet(exercise.title, "", [exercise], _engraver(), layout)


def all_of_them() -> Iterator[tuple[str, str]]:
    """Every rudiment with every ostinato."""
    return product(shelf.rudiments(), shelf.ostinatos())


def _main() -> int:
    failed, every = 0, [*all_of_them()]
    begun = time.perf_counter()
    with TemporaryDirectory() as folder:
        for rudiment, ostinato in every:
            try:
                everywhere(drill_of(rudiment, ostinato), Path(folder, "own.mid"))
            except Exception:
                failed += 1
                last = traceback.format_exc().strip().splitlines()[-1]
                print(f"{rudiment} over {ostinato}: {last}", flush=True)
    taken = time.perf_counter() - begun
    print(f"{len(every)} combinations in every output, {failed} failed, {taken:.0f} s")
    return int(failed > 0)


if __name__ == "__main__":
    sys.exit(_main())
