"""MusicXML: valid by the W3C's schema, and read back by music21 and verovio.

What is expected is worked out from the exercises' hits and from arithmetic, not from the written
score. "W3C" below is the MusicXML 4.0 reference, https://www.w3.org/2021/06/musicxml40/.
"""

import base64
import io
import re
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import accumulate, chain, pairwise, product
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import mido
import music21
import pytest
import verovio
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from lxml import etree
from test_properties import drills

import midiforge
from midiforge import check_drill
from midiforge.drill.drill import Drill
from midiforge.engraving.cut import cut
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.widths import Layout
from midiforge.errors import MidiforgeError
from midiforge.kits.kit import Kit, read_kit
from midiforge.library.shelf import ostinatos
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Strength
from midiforge.notation import Score, scores
from midiforge.notation.rhythm import cells_of
from midiforge.notation.sign import on_one_line, sign_of
from midiforge.pages.musicxml import musicxml
from midiforge.pages.paper import paper_of

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
by_example = pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
few = settings(max_examples=15)

XSD = "http://www.w3.org/2001/XMLSchema"
# What the schema imports, as far as it refers to it; none of it is written by us.
IMPORTED = {
    "http://www.musicxml.org/xsd/xml.xsd": (
        "http://www.w3.org/XML/1998/namespace",
        ("lang", "space"),
    ),
    "http://www.musicxml.org/xsd/xlink.xsd": (
        "http://www.w3.org/1999/xlink",
        ("href", "type", "role", "title", "show", "actuate"),
    ),
}
# Note values in quarter notes, by their names in MusicXML (W3C, note-type-value).
LENGTHS = {
    "whole": Fraction(4),
    "half": Fraction(2),
    "quarter": Fraction(1),
    "eighth": Fraction(1, 2),
    "16th": Fraction(1, 4),
    "32nd": Fraction(1, 8),
}
# General MIDI level 1 percussion map (MMA, RP-003).
GENERAL_MIDI = {
    "bass-drum": 36,
    "side-stick": 37,
    "snare": 38,
    "hihat-closed": 42,
    "hihat-pedal": 44,
    "hihat-open": 46,
    "tom-mid": 48,
    "tom-high": 50,
    "floor-tom": 43,
    "crash": 49,
    "ride": 51,
    "ride-bell": 53,
    "cowbell": 56,
    "claves": 75,
}


# What is written, and what is expected of it


class Lesson:
    """A drill's exercises, their scores and its document."""

    def __init__(self, drill: Drill, **wishes: Any) -> None:
        self.kit: Kit = drill.kit
        self.scores: list[Score] = list(scores(midiforge.exercises(drill)))
        self.xml = musicxml(drill.title, self.scores, drill.kit, **wishes)

    @property
    def root(self) -> ElementTree.Element:
        return ElementTree.fromstring(self.xml)

    @property
    def starts(self) -> list[int]:
        """The number of measures before each score."""
        return [0, *accumulate(written_bars(score.exercise) for score in self.scores)]


def lesson(content: dict[str, Any], **wishes: Any) -> Lesson:
    return Lesson(check_drill({"stages": "full", "click": "off", **content}), **wishes)


def small(content: dict[str, Any]) -> Lesson:
    """The lesson of a random drill, if it is not longer than a test should be."""
    found = lesson(content)
    assume(sum(written_bars(score.exercise) for score in found.scores) <= 24)
    return found


@st.composite
def with_layers(draw: st.DrawFn) -> dict[str, Any]:
    """A random drill, some with lines above the player's staff."""
    content = draw(drills())
    layers = draw(st.sampled_from(((), (), ("son-clave-3-2",), ("x.x as cowbell", ".x as claves"))))
    return {**content, "layers": list(layers), "repeats": draw(st.integers(1, 3))}


def written_bars(exercise: Exercise) -> int:
    """One time round: the first time through of a late entry, and the loop once, chords and all."""
    returns = exercise.returns_after_bars
    bars = returns
    while not chords_come_round(exercise, bars):
        bars += returns
    return int(exercise.loop_start / exercise.meter.bar) + bars


def chords_come_round(exercise: Exercise, bars: int) -> bool:
    """Whether the same chord sounds so many bars later, wherever one begins."""

    def at(time: Fraction) -> str:
        return [mark.symbol for mark in exercise.chords if mark.time <= time][-1]

    later = bars * exercise.meter.bar
    times = [mark.time for mark in exercise.chords if mark.time >= exercise.loop_start]
    return all(
        (time + later >= exercise.length or at(time + later) == at(time))
        and (time - later < exercise.loop_start or at(time - later) == at(time))
        for time in times
    )


def struck(exercise: Exercise, once: bool = True) -> list[Hit]:
    """What is written: without click, and without what others than timelines add beside
    the drummer, which is only heard; one time round, or all of it.

    Two hands on one voice at once are one notehead and one sound: the louder of the two.
    """
    end = written_bars(exercise) * exercise.meter.bar if once else exercise.length
    found: dict[tuple[object, ...], Hit] = {}
    heard = {"click", *(each.name for each in exercise.band if each.name not in ostinatos())}
    for hit in sorted((*exercise.hits, *exercise.answers), key=lambda hit: hit.time):
        if hit.layer not in heard and 0 <= hit.time < end:
            key = (hit.time, hit.voice, voice_number(hit), hit.layer)
            if key not in found or found[key].strength is Strength.GHOST:
                found[key] = hit
    return list(found.values())


def gone_round(exercise: Exercise) -> list[Hit]:
    """All that a reader plays: what is between repeat signs at least twice (W3C, repeat: times is 2
    where nothing is said)."""
    whole, start = struck(exercise, once=False), exercise.loop_start
    if exercise.bars > written_bars(exercise):
        return whole
    again = exercise.length - start
    return [*whole, *(replace(hit, time=hit.time + again) for hit in whole if hit.time >= start)]


def voice_number(hit: Hit) -> str:
    return "2" if hit.limb and hit.limb.is_foot else "1"


def graces(exercise: Exercise) -> Counter[Fraction]:
    """How many grace notes come before the strokes of one time round."""
    end = written_bars(exercise) * exercise.meter.bar
    return Counter(
        hit.time
        for hit in (*exercise.hits, *exercise.answers)
        if hit.ornament and hit.ornament.limb and hit.time < end
        for _ in range(hit.ornament.grace_notes)
    )


def stickings(exercise: Exercise) -> dict[Fraction, str]:
    """The letters below each moment of one time round."""
    end = written_bars(exercise) * exercise.meter.bar
    found: dict[Fraction, set[str]] = defaultdict(set)
    before: dict[Fraction, str] = defaultdict(str)
    for hit in (*exercise.hits, *exercise.answers):
        if hit.limb and hit.limb.is_hand and hit.layer != "click" and 0 <= hit.time < end:
            found[hit.time].add(hit.limb.letter)
            if hit.ornament and hit.ornament.limb:
                before[hit.time] += hit.ornament.limb.letter.lower() * hit.ornament.grace_notes
    return {
        time: before[time] + "".join(sorted(letters, reverse=True))
        for time, letters in found.items()
    }


# The schema


class _Local(etree.Resolver):
    def resolve(self, url: str, pubid: str, context: Any) -> Any:  # noqa: ARG002
        if url not in IMPORTED:
            return None
        namespace, names = IMPORTED[url]
        attributes = "".join(f'<xs:attribute name="{name}"/>' for name in names)
        text = f'<xs:schema xmlns:xs="{XSD}" targetNamespace="{namespace}">{attributes}</xs:schema>'
        return self.resolve_string(text, context)


@cache
def schema() -> etree.XMLSchema:
    """The W3C's musicxml.xsd of MusicXML 4.0, as the package musicxml carries it."""
    parser = etree.XMLParser(no_network=True)
    parser.resolvers.add(_Local())
    text = (files("musicxml") / "generate_classes" / "musicxml_4_0.xsd").read_bytes()
    return etree.XMLSchema(etree.fromstring(text, parser))


def assert_valid(xml: bytes) -> None:
    schema().assertValid(etree.fromstring(xml, etree.XMLParser(no_network=True)))


@by_example
def test_an_example_is_valid_by_the_w3c_s_schema(path: Path) -> None:
    assert_valid(Lesson(midiforge.read_drill(path), with_counts=True).xml)


@few
@given(with_layers(), st.booleans())
def test_any_drill_is_valid_by_the_w3c_s_schema(content: dict[str, Any], with_counts: bool) -> None:
    assert_valid(lesson(content, with_counts=with_counts).xml)


def test_the_schema_refuses_what_musicxml_does_not_know() -> None:
    xml = lesson({"sticking": "RL"}).xml
    with pytest.raises(etree.DocumentInvalid):
        assert_valid(xml.replace(b"<stem>up</stem>", b"<stem>sideways</stem>"))


# Arithmetic of the notes


Element = ElementTree.Element


def number(element: Element, path: str, usual: int = 1) -> int:
    return int(element.findtext(path) or usual)


def measures(root: Element) -> Iterator[tuple[Element, Element, Fraction, int]]:
    """Every part's measures, with the length of their bar and the divisions of a quarter."""
    for part in root.iter("part"):
        bar, divisions = Fraction(0), 0
        for measure in part.iter("measure"):
            divisions = number(measure, "attributes/divisions", divisions)
            beats = measure.findtext("attributes/time/beats")
            if beats:
                above = sum(map(int, beats.split("+")))
                bar = Fraction(4 * above, number(measure, "attributes/time/beat-type"))
            yield part, measure, bar, divisions


def voices(measure: Element, divisions: int) -> dict[str, list[tuple[Fraction, Element]]]:
    """The notes of each voice with where they begin, grace notes and further notes of chords left
    out; backups have to lead to the beginning of the measure."""
    found: dict[str, list[tuple[Fraction, Element]]] = defaultdict(list)
    at = Fraction(0)
    for each in measure:
        length = Fraction(number(each, "duration", 0), divisions)
        if each.tag == "backup":
            at -= length
            assert at == 0
        elif each.tag == "note" and each.find("grace") is None and each.find("chord") is None:
            found[each.findtext("voice") or ""].append((at, each))
            at += length
    return found


def assert_arithmetic(found: Lesson) -> None:
    """Every voice fills its bar, and every note is as long as its value says."""
    for part in found.root.iter("part"):
        tied = [
            {tie.get("type") for tie in note.iter("tie")}
            for note in part.iter("note")
            if note.find("rest") is None and note.find("grace") is None
        ]
        for before, after in pairwise([set(), *tied, set()]):
            assert ("start" in before) == ("stop" in after)
    for _, measure, bar, divisions in measures(found.root):
        for notes in voices(measure, divisions).values():
            lengths = [Fraction(number(note, "duration", 0), divisions) for _, note in notes]
            assert sum(lengths) == bar
            for (_, note), length in zip(notes, lengths, strict=True):
                assert length.numerator > 0
                value = note.findtext("type")
                if value is None:
                    assert note.find("rest[@measure='yes']") is not None
                    continue
                written = LENGTHS[value] * (Fraction(3, 2) if note.find("dot") is not None else 1)
                scale = Fraction(
                    number(note, "time-modification/normal-notes"),
                    number(note, "time-modification/actual-notes"),
                )
                assert length == written * scale


def assert_beats(found: Lesson) -> None:
    """Beams stay within a beat, and a tuplet fills one."""
    meters = {
        start: score.exercise.meter
        for start, score in zip(found.starts, found.scores, strict=False)
    }
    meter = found.scores[0].exercise.meter
    for _, measure, bar, divisions in measures(found.root):
        meter = meters.get(int(measure.get("number") or 0) - 1, meter)
        # Beats shorter than a quarter are beamed together, in twos and a three (common practice).
        cells = [*(start for start, _, _ in cells_of(meter)), bar]
        beats = [*meter.beats, bar]
        for notes in voices(measure, divisions).values():
            begun: dict[str, Fraction] = {}
            for at, note in notes:
                end = at + Fraction(number(note, "duration", 0), divisions)
                for beam in note.iter("beam"):
                    if beam.text == "begin":
                        begun[f"beam {beam.get('number')}"] = at
                    elif beam.text == "end":
                        start = begun.pop(f"beam {beam.get('number')}")
                        assert any(a <= start and end <= b for a, b in pairwise(cells))
                for tuplet in note.iter("tuplet"):
                    if tuplet.get("type") == "start":
                        assert "tuplet" not in begun
                        begun["tuplet"] = at
                    else:
                        spans = [*pairwise(beats), *pairwise(cells)]
                        assert (begun.pop("tuplet"), end) in spans
                inside = "tuplet" in begun or note.find("notations/tuplet") is not None
                assert (note.find("time-modification") is not None) == inside
            assert not begun


FLAGS = {"eighth": 1, "16th": 2, "32nd": 3}


def assert_beams(found: Lesson) -> None:
    """A beamed note has a beam for each of its flags; only neighbours share one, and a note that
    shares a level with nobody has a hook that points into the beam."""
    for _, measure, _, divisions in measures(found.root):
        for notes in voices(measure, divisions).values():
            open_levels: set[str] = set()
            for (_, before), (_, note), (_, after) in pairwise_with_ends(notes):
                words = {beam.get("number") or "": beam.text or "" for beam in note.iter("beam")}
                if note.find("rest") is not None:
                    assert open_levels <= {"1"}, "a rest breaks the secondary beams"
                    assert not words
                    continue
                value = note.findtext("type") or ""
                assert list(words) in ([], [str(i + 1) for i in range(FLAGS.get(value, 0))])
                for level, word in words.items():
                    assert (level in open_levels) == (word in ("continue", "end")), word
                    if word == "begin":
                        open_levels.add(level)
                    elif word == "end":
                        open_levels.remove(level)
                    elif word == "forward hook":
                        assert words["1"] != "end"
                        assert after is None or not shares(after, level)
                    elif word == "backward hook":
                        assert words["1"] != "begin"
                        assert before is None or not shares(before, level)
            assert not open_levels


def shares(note: Element, level: str) -> bool:
    """Whether the note has a beam of that level that could have been shared."""
    words = {beam.get("number"): beam.text for beam in note.iter("beam")}
    return words.get(level) in ("begin", "continue", "end") and words["1"] == "continue"


def pairwise_with_ends(
    notes: Iterable[tuple[Fraction, Element]],
) -> Iterator[tuple[tuple[Any, Any], tuple[Any, Element], tuple[Any, Any]]]:
    listed = [(None, None), *notes, (None, None)]
    yield from zip(listed, listed[1:], listed[2:], strict=False)  # type: ignore[misc]


@by_example
def test_the_notes_of_an_example_add_up(path: Path) -> None:
    found = Lesson(midiforge.read_drill(path))
    assert_arithmetic(found)
    assert_beats(found)
    assert_beams(found)


@settings(max_examples=40)
@given(with_layers())
def test_the_notes_of_any_drill_add_up(content: dict[str, Any]) -> None:
    found = lesson(content)
    assert_arithmetic(found)
    assert_beats(found)
    assert_beams(found)


@pytest.mark.parametrize(
    ("pattern", "expected"),
    [
        # 16th 16th eighth; eighth 16th 16th; 16th eighth 16th; dotted eighth 16th and its mirror.
        ("xxx.", [("begin", "begin"), ("continue", "end"), ("end",)]),
        ("x.xx", [("begin",), ("continue", "begin"), ("end", "end")]),
        ("xx.x", [("begin", "forward hook"), ("continue",), ("end", "backward hook")]),
        ("x..x", [("begin",), ("end", "backward hook")]),
        ("xx..", [("begin", "forward hook"), ("end",)]),
        (".xxx", [(), ("begin", "begin"), ("continue", "continue"), ("end", "end")]),
    ],
)
def test_beams_are_grouped_as_everybody_groups_them(
    pattern: str, expected: list[tuple[str, ...]]
) -> None:
    """Common practice, as in E. Gould, Behind Bars (2011), chapter 'Rhythm', from memory."""
    found = lesson({"sticking": pattern.replace("x", "R").replace(".", "-"), "meter": "1/4"})
    notes = found.root.findall(".//note")
    assert [tuple(beam.text or "" for beam in note.iter("beam")) for note in notes] == expected


@pytest.mark.parametrize(
    ("pattern", "hook"), [("x..xx.", "backward hook"), ("x.xx..", "forward hook")]
)
def test_a_beam_for_one_note_in_the_middle_points_to_the_dotted_note(
    pattern: str, hook: str
) -> None:
    """Common practice, as above: the dotted eighth and its sixteenth belong together."""
    sticking = pattern.replace("x", "R").replace(".", "-")
    found = lesson({"sticking": sticking, "meter": "6/8", "steps": 6})
    notes = found.root.findall(".//note")[:3]
    assert "16th" in [note.findtext("type") for note in notes]
    words = [[beam.text for beam in note.iter("beam")] for note in notes]
    assert words == [["begin"], ["continue", hook], ["end"]]


def test_a_swell_is_a_wedge_between_two_levels() -> None:
    """https://www.w3.org/2021/06/musicxml40/musicxml-reference/elements/wedge/"""
    found = lesson(
        {
            "sticking": "RLRR LRLL",
            "dynamics": "diminuendo 110% to 50% over 3 bars",
            "layers": "son-clave-3-2",
        }
    )
    assert_valid(found.xml)
    [score] = found.scores
    (player,) = (part for part in found.root.iter("part") if part.get("id") == "P1")
    said = [
        (number % 3, kind.tag, kind.get("type") or kind[0].tag)
        for number, measure in enumerate(player.iter("measure"))
        for direction in measure.iter("direction-type")
        for kind in direction
        if kind.tag in ("wedge", "dynamics")
    ]
    once = [(0, "dynamics", "f"), (0, "wedge", "diminuendo"),
            (2, "wedge", "stop"), (2, "dynamics", "p")]  # fmt: skip
    assert said == once * (len([*score.bars]) // 3)
    stream = music21.converter.parse(found.xml.decode(), format="musicxml")
    wedges = [*stream.recurse().getElementsByClass(music21.dynamics.Diminuendo)]
    assert len(wedges) == len(said) // 4
    # The other parts say nothing of it.
    assert found.xml.count(b"<wedge") == 2 * len(wedges)


# Read by music21


Read = tuple[Fraction, str, int, str, bool]


def expected_notes(exercise: Exercise, layer: str | None) -> Counter[Read]:
    """Time, step, octave, notehead, parentheses: of the player's, or of a line above."""
    found: Counter[Read] = Counter()
    for hit in struck(exercise):
        if (hit.limb is None) != (layer is not None) or (layer and hit.layer != layer):
            continue
        sign = on_one_line(hit.voice) if layer else sign_of(hit.voice)
        ghost = hit.strength is Strength.GHOST
        found[hit.time, sign.step, sign.octave, sign.head, ghost] += 1
    return found


def single_notes(note: Any) -> tuple[Any, ...]:
    return tuple(note.notes) if isinstance(note, music21.chord.ChordBase) else (note,)


def rolled_at(note: Any, time: Fraction) -> list[Fraction]:
    """When the strokes of a note with slashes are, or that of one without."""
    slashes = [
        sign.numberOfMarks
        for sign in note.expressions
        if isinstance(sign, music21.expressions.Tremolo)
    ]
    if not slashes or not slashes[0]:
        return [time]
    flags = {"eighth": 1, "16th": 2}.get(note.duration.type, 0)
    step = Fraction(1, 2 ** (flags + slashes[0]))
    return [time + i * step for i in range(int(Fraction(note.quarterLength) / step))]


def assert_music21_reads(found: Lesson) -> None:
    stream = music21.converter.parse(found.xml.decode(), format="musicxml")
    above = list(dict.fromkeys(name for score in found.scores for name in score.above))
    parts: list[str | None] = [*above, None]
    assert len(stream.parts) == len(parts)
    for part, layer in zip(stream.parts, parts, strict=True):
        bars = list(part.getElementsByClass("Measure"))
        assert len(bars) == found.starts[-1]
        for start, end, score in zip(found.starts, found.starts[1:], found.scores, strict=False):
            exercise = score.exercise
            heads: Counter[Read] = Counter()
            grace: Counter[Fraction] = Counter()
            letters: dict[Fraction, str] = {}
            by_voice: Counter[tuple[Fraction, str]] = Counter()
            for index, bar in enumerate(bars[start:end]):
                assert Fraction(bar.barDuration.quarterLength) == exercise.meter.bar
                for note in bar.recurse().notes:
                    if isinstance(note, music21.harmony.Harmony):
                        continue  # to music21 a chord symbol is a chord
                    within = Fraction(note.getOffsetInHierarchy(bar))
                    time = index * exercise.meter.bar + within
                    verses = {lyric.number: lyric.text for lyric in note.lyrics}
                    if note.duration.isGrace:
                        grace[time] += 1
                        continue
                    at_once = rolled_at(note, time)
                    if 1 in verses:
                        said = verses[1] if len(at_once) > 1 else [verses[1]]
                        letters.update(zip(at_once, said, strict=True))
                    for each, at in product(single_notes(note), at_once):
                        head = (each.displayStep, each.displayOctave, each.notehead)
                        heads[(at, *head, bool(each.noteheadParenthesis))] += 1
                        if bar.voices:
                            by_voice[at, note.activeSite.id] += 1
            assert heads == expected_notes(exercise, layer)
            if layer is None:
                assert grace == graces(exercise)
                assert letters == stickings(exercise)
                told = Counter((hit.time, voice_number(hit)) for hit in struck(exercise))
                assert all(told[key] >= count for key, count in by_voice.items())


@by_example
def test_music21_reads_every_note_of_an_example_where_it_is_played(path: Path) -> None:
    assert_music21_reads(Lesson(midiforge.read_drill(path), with_counts=True))


@few
@given(with_layers())
def test_music21_reads_every_note_of_any_drill_where_it_is_played(content: dict[str, Any]) -> None:
    assert_music21_reads(small(content))


@pytest.mark.parametrize(
    "content",
    [
        {"sticking": "RLRR LRLL", "repeats": 4},
        {"sticking": "RLRRL", "repeats": 3},
        {"sticking": "RLRR", "placements": "+3", "entry": "late", "repeats": 2},
        {"sticking": "RLRRL", "ramp": "60 to 84 by 6 every 5 bars"},
        {"sticking": "RLRRL", "repeats": 1},
        {"sticking": "RLRR", "placements": "+3", "entry": "late", "repeats": 1},
    ],
)
def test_music21_expands_the_repeats_to_the_exercise_s_length(content: dict[str, Any]) -> None:
    found = lesson(content)
    (score,) = found.scores
    part = music21.converter.parse(found.xml.decode(), format="musicxml").parts[0]
    exercise = score.exercise
    again = exercise.length - exercise.loop_start if content.get("repeats") == 1 else 0
    assert Fraction(part.expandRepeats().duration.quarterLength) == exercise.length + again


@pytest.mark.parametrize(
    ("meter", "steps", "expected"),
    [("3/4", 4, "3/4"), ("12/8", 6, "12/8"), ("2/2", 4, "2/2"), ("2+2+3/8", 2, "2/8+2/8+3/8")],
)
def test_music21_reads_the_time_signature(meter: str, steps: int, expected: str) -> None:
    found = lesson({"sticking": "RL", "meter": meter, "steps": steps})
    part = music21.converter.parse(found.xml.decode(), format="musicxml").parts[0]
    assert part.measure(1).timeSignature.ratioString == expected


# Played by verovio


def heard_by_verovio(xml: bytes) -> tuple[int, Counter[tuple[int, int]], list[int]]:
    """Ticks to a quarter note, (tick, note number) of every note, and the tempos in us.

    Without the signs for the bar before, of which verovio plays nothing, whatever stands below.
    """
    xml = re.sub(rb"<measure-style>.*?</measure-style>", b"", xml)
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    assert toolkit.loadData(xml.decode())
    file = mido.MidiFile(file=io.BytesIO(base64.b64decode(toolkit.renderToMIDI())))
    found: Counter[tuple[int, int]] = Counter()
    tempos = []
    for track in file.tracks:
        at = 0
        for message in track:
            at += message.time
            if message.type == "note_on" and message.velocity:
                assert message.channel == 9
                found[at, message.note] += 1
            elif message.type == "set_tempo":
                tempos.append(message.tempo)
    return file.ticks_per_beat, found, tempos


def assert_verovio_plays(drill: Drill) -> None:
    """verovio honours midi-unpitched and the repeats; it plays swung music as it is written, and
    moves strokes with grace notes where they begin the music, so that those are only counted."""
    for score in scores(midiforge.exercises(drill)):
        exercise = score.exercise
        ticks, found, tempos = heard_by_verovio(musicxml(drill.title, [score], drill.kit))
        quarters = exercise.tempo.first * exercise.tempo.pulse
        assert tempos == [pytest.approx(60_000_000 / float(quarters), abs=1)]
        once, whole = struck(exercise), gone_round(exercise)
        if graces(exercise):
            turns = Fraction(len(whole), len(once))
            notes = len(whole) + graces(exercise).total() * turns
            if not exercise.loop_start:
                assert found.total() == notes
            continue
        # It cuts ticks down to whole numbers, so that one may be missing.
        expected = sorted((drill.kit.note(hit.voice), hit.time * ticks) for hit in whole)
        heard = sorted((note, tick) for tick, note in found.elements())
        assert [note for note, _ in heard] == [note for note, _ in expected]
        for (_, tick), (_, time) in zip(heard, expected, strict=True):
            assert -1 <= tick - time <= 0


@by_example
def test_verovio_plays_an_example_on_time_on_the_kit_s_notes(path: Path) -> None:
    assert_verovio_plays(midiforge.read_drill(path))


@few
@given(with_layers())
def test_verovio_plays_any_drill_on_time_on_the_kit_s_notes(content: dict[str, Any]) -> None:
    drill = check_drill({**content, "stages": "full", "click": "off"})
    assume(all(each.bars <= 24 for each in midiforge.exercises(drill)))
    assert_verovio_plays(drill)


# Signs and words


def texts(root: Element, path: str) -> list[str]:
    return [each.text or "" for each in root.iterfind(f".//{path}")]


def test_midi_unpitched_is_general_midi_s_number_counted_from_one() -> None:
    """W3C, midi-unpitched: "1 to 128"; numbers: General MIDI level 1 percussion map (RP-003)."""
    rules = [f"RH={'/'.join(name for name in GENERAL_MIDI if 'drum' not in name)}"]
    found = lesson({"sticking": "R L K H", "voicing": rules, "layers": "x... as claves"})
    by_id = {
        each.get("id"): (number(each, "midi-channel"), number(each, "midi-unpitched"))
        for each in found.root.iter("midi-instrument")
    }
    expected = {f"P1-{name}": (10, n + 1) for name, n in GENERAL_MIDI.items()}
    assert by_id == {**expected, "P2-claves": (10, 76)}
    names = dict(zip(by_id, texts(found.root, "instrument-name"), strict=True))
    assert names["P1-hihat-pedal"] == "Hi-hat, closed with the foot"


def test_every_notehead_names_an_instrument_of_its_part() -> None:
    found = lesson({"sticking": "lR L B K", "layers": ["bembe", "son-clave-3-2"], "meter": "12/8"})
    for part in found.root.iter("part"):
        header = found.root.find(f".//score-part[@id='{part.get('id')}']")
        assert header is not None
        known = {each.get("id") for each in header.iter("score-instrument")}
        used = {each.get("id") for each in part.iter("instrument")}
        assert used == known
        assert len(used) > 0


def test_a_kit_of_another_channel_and_program_is_asked_for() -> None:
    kit = read_kit("general-midi-2")
    drill = check_drill({"sticking": "RL"})
    xml = musicxml("", scores(midiforge.exercises(drill)), kit)
    root = ElementTree.fromstring(xml)
    programs = set(texts(root, "midi-program"))
    assert programs == ({str(kit.program)} if kit.program else set())
    assert root.find("work") is None


def test_both_hands_on_one_drum_are_one_notehead_and_no_ghost_if_one_hand_is_none() -> None:
    found = lesson(
        {"sticking": "(R)+L - (B) -", "meter": "2/4", "steps": 2, "voicing": "hands=snare"}
    )
    notes = [note for note in found.root.iter("note") if note.find("unpitched") is not None]
    assert [note.findtext("lyric/text") for note in notes] == ["RL", "RL"]
    ghosts = [note.find("notehead") for note in notes]
    assert ghosts[0] is None
    assert ghosts[1] is not None and ghosts[1].get("parentheses") == "yes"


@pytest.mark.parametrize("rudiment", ["five-stroke-roll", "seventeen-stroke-roll"])
def test_music21_reads_every_stroke_of_a_measured_roll(rudiment: str) -> None:
    """W3C: tremolo, single: the number of slashes, beside flags and beams."""
    for rolls in ("slashes", "strokes"):
        found = lesson(
            {
                "sticking": rudiment,
                "feet": "1 3",
                "voicing": "RH=snare",
                "writing": {"rolls": rolls},
            }
        )
        assert bool(found.root.findall(".//tremolo[@type='single']")) == (rolls == "slashes")
        assert_music21_reads(found)
        assert_arithmetic(found)


def test_strokes_have_the_marks_musicxml_has_for_them() -> None:
    """W3C: accent, tremolo (unmeasured), open, half-muted, stopped, notehead's parentheses."""
    voicing = "RH=hihat-open/hihat-half/hihat-closed/hihat-closed"
    layered = {"writing": {"voices": "two"}}
    found = lesson({"sticking": ">R R R R (L) Lz >K -", "voicing": voicing, **layered})
    marks = []
    for note in found.root.iter("note"):
        if note.find("rest") is None and note.find("unpitched") is not None:
            kinds = [
                (each.tag, each.get("placement"))
                for path in ("technical", "articulations")
                for group in note.iterfind(f"notations/{path}")
                for each in group
            ]
            marks.append((note.findtext("voice"), kinds))
    assert marks[:6] == [
        ("1", [("open", "above"), ("accent", "above")]),
        ("1", [("half-muted", "above")]),
        ("1", [("stopped", "above")]),
        ("1", []),
        ("1", []),
        ("1", []),
    ]
    assert ("2", [("accent", "below")]) in marks
    tremolos = found.root.findall(".//ornaments/tremolo")
    assert {(each.get("type"), each.text) for each in tremolos} == {("unmeasured", "0")}
    ghosts = found.root.findall(".//notehead[@parentheses='yes']")
    assert {each.text for each in ghosts} == {"normal"}
    stems = {(note.findtext("voice"), note.findtext("stem")) for note in found.root.iter("note")}
    assert stems >= {("1", "up"), ("2", "down")}
    assert not stems & {("1", "down"), ("2", "up")}


@pytest.mark.parametrize(
    ("keys", "breaks"),
    [
        ({"sticking": "RLRLRLRL", "steps": 8, "meter": "1/4"}, [4]),
        ({"sticking": "RLRLRLRLRLRL", "steps": 12, "meter": "6/8"}, [4, 8]),
        ({"sticking": "RLRLRLRLRLRL", "steps": 12, "meter": "1/4"}, [6]),
        ({"sticking": "RLRRLRRL", "steps": 8, "meter": "1/2"}, [4]),
        ({"sticking": "RLRRLL", "steps": 6, "meter": "6/8"}, []),
        ({"sticking": "RLRL", "steps": 4, "meter": "1/4"}, []),
    ],
)
def test_inner_beams_break_so_that_a_group_can_be_counted(
    keys: dict[str, Any], breaks: list[int]
) -> None:
    """Thirty-seconds at the eighth, sixteenths of a half at the quarter; the outer beam goes on.

    E. Gould, Behind Bars (2011), chapter 'Rhythm', from memory.
    """
    notes = lesson(keys).root.findall(".//note")[: len(keys["sticking"])]
    words = [[beam.text for beam in note.iter("beam")] for note in notes]
    assert [i for i, own in enumerate(words) if i and own[1:] == ["begin"] * len(own[1:])] == breaks
    assert [own[0] for own in words] == ["begin", *["continue"] * (len(words) - 2), "end"]


def test_grace_notes_come_before_the_beat_with_their_letters_before_the_stroke_s() -> None:
    """W3C, grace: the slash is the sign of what is played before the beat; no duration."""
    found = lesson({"sticking": "lR rrL lllR -"})
    notes = found.root.findall(".//note[grace]")[:6]
    assert all(note.find("duration") is None for note in notes)
    assert all(note.find("grace[@slash='yes']") is not None for note in notes)
    letters = [lyric.text for lyric in found.root.findall(".//note/lyric/text")]
    assert letters[:3] == ["lR", "rrL", "lllR"]
    assert [note.findtext("type") for note in notes] == ["eighth"] + ["16th"] * 5
    words = [[beam.text for beam in note.iter("beam")] for note in notes]
    begin, middle, end = (["begin"] * 2, ["continue"] * 2, ["end"] * 2)
    assert words == [[], begin, end, begin, middle, end]


def test_counts_are_a_second_verse_only_when_asked_for() -> None:
    """ "1 e & a" to sixteenths: common practice."""
    content = {"sticking": "R L R L", "feet": "x.. on RF", "meter": "2/4"}
    assert lesson(content).root.find(".//lyric[@number='2']") is None
    root = lesson(content, with_counts=True).root
    hands = [
        (note.findtext("lyric[@number='1']/text"), note.findtext("lyric[@number='2']/text"))
        for note in root.find(".//measure") or ()
        if note.tag == "note" and note.findtext("voice") == "1"
    ]
    said = ["1", "e", "&", "a", "2", "e", "&", "a"]
    assert hands == list(zip("RLRLRLRL", said, strict=True))
    feet = root.findall(".//note[voice='2']/lyric")
    assert not feet


def test_steps_without_a_syllable_have_no_count() -> None:
    """Of five to a beat only the beat has a name that everybody says (common practice)."""
    root = lesson({"sticking": "R", "steps": 5, "meter": "2/4"}, with_counts=True).root
    assert texts(root, "lyric[@number='2']/text") == ["1", "2"]


def test_counts_go_to_the_feet_where_no_hand_plays() -> None:
    content = {"sticking": "R", "feet": "1 2& on RF", "stages": "feet", "meter": "2/4"}
    root = lesson(content, with_counts=True).root
    assert texts(root, "lyric[@number='2']/text") == ["1", "&"]


def test_each_exercise_begins_a_line_with_its_numbers_title_and_tempos() -> None:
    drill = midiforge.read_drill(EXAMPLES[0])
    found = Lesson(drill)
    bars = found.root.findall("part/measure")
    firsts = [bars[start] for start in found.starts[:-1]]
    assert [bar.findtext("direction/direction-type/rehearsal") for bar in firsts][:3] == [
        "1",
        "2",
        "3",
    ]
    for i, (bar, score) in enumerate(zip(firsts, found.scores, strict=True)):
        said = texts(bar, "words")
        assert said[0] == score.exercise.title
        assert "also at 76, 94" in said
        assert bar.findtext(".//metronome/per-minute") == "58"
        assert (bar.find("print[@new-system='yes']") is not None) == (i > 0)
    assert found.root.findall(".//print[@new-page]") == []
    times = [bar.get("number") for bar in bars if bar.find("attributes/time") is not None]
    assert times == ["1"]
    numbers = [bar.get("number") for bar in bars]
    assert numbers == [str(i + 1) for i in range(len(bars))]
    shown = [bar.get("text") for bar in bars]
    expected = chain.from_iterable(
        range(1, written_bars(score.exercise) + 1) for score in found.scores
    )
    assert shown == [str(i) for i in expected]


@pytest.mark.parametrize(
    ("content", "unit", "dots", "sound"),
    [
        ({"meter": "4/4", "tempos": 92}, "quarter", 0, "92"),
        ({"meter": "12/8", "tempos": 48, "steps": 6}, "quarter", 1, "72"),
        ({"meter": "2/2", "tempos": 60}, "half", 0, "120"),
        ({"meter": "7/8", "tempos": 100, "steps": 2}, "eighth", 0, "50"),
        ({"meter": "12/8", "tempos": 50, "steps": 6, "pulse": "eighth"}, "eighth", 0, "25"),
        ({"meter": "6/4", "tempos": "40.5", "steps": 6}, "half", 1, "121.5"),
    ],
)
def test_the_sound_s_tempo_counts_quarter_notes(
    content: dict[str, Any], unit: str, dots: int, sound: str
) -> None:
    """W3C, sound: "Tempo is expressed in quarter notes per minute"."""
    root = lesson({"sticking": "RL", **content}).root
    metronome = root.find(".//metronome")
    assert metronome is not None
    assert metronome.findtext("beat-unit") == unit
    assert len(metronome.findall("beat-unit-dot")) == dots
    assert [each.get("tempo") for each in root.iter("sound")] == [sound]


def test_a_pulse_without_a_note_of_its_own_is_told_in_words() -> None:
    root = lesson({"sticking": "RL", "meter": "5+5/8", "steps": 5, "tempos": 30}).root
    assert root.find(".//metronome") is None
    assert "5/8 note = 30" in texts(root, "words")
    assert [each.get("tempo") for each in root.iter("sound")] == ["75"]


def test_a_ramp_says_how_it_rises() -> None:
    root = lesson({"sticking": "RLRRL", "ramp": "60 to 84 by 6 every 5 bars"}).root
    assert "60 to 84 bpm, 6 more every 5 bars" in texts(root, "words")
    root = lesson({"sticking": "RL", "ramp": "84 to 82 by 0.5 every 1 bars"}).root
    assert "84 to 82 bpm, 0.5 less every bar" in texts(root, "words")


def test_swing_is_said_once_and_not_written_out() -> None:
    """W3C, swing: first and second in smallest whole numbers, swing-type eighth or 16th."""
    content = {"sticking": "RLRL", "placements": "beat", "swing": "6:4", "swing_pair": "sixteenth"}
    found = lesson(content)
    assert len(found.scores) > 1
    (swing,) = found.root.iter("swing")
    assert [(each.tag, each.text) for each in swing] == [
        ("first", "3"),
        ("second", "2"),
        ("swing-type", "16th"),
    ]
    assert texts(found.root, "words").count("swung 16ths 3:2") == 1
    assert number(found.root, ".//divisions") == 4
    assert lesson({"sticking": "RL"}).root.find(".//swing") is None


def test_what_is_played_again_has_repeats_and_says_how_often() -> None:
    root = lesson({"sticking": "RLRRL", "repeats": 4}).root
    bars = root.findall("part/measure")
    assert len(bars) == 5
    repeats = {
        (bar.get("number"), line.get("location")): dict(line.find("repeat").attrib)
        for bar in bars
        for line in bar.findall("barline")
    }
    assert repeats == {
        ("1", "left"): {"direction": "forward"},
        ("5", "right"): {"direction": "backward", "times": "4"},
    }
    assert "4 times" in texts(bars[4], "words")
    assert texts(root, "bar-style") == ["heavy-light", "light-heavy"]


def test_every_exercise_goes_round_between_repeat_signs_as_on_the_pages() -> None:
    drill = {"sticking": "RLRR", "placements": "0, 1", "entry": "late", "repeats": 1}
    found = lesson({**drill, "stages": "full"})
    bars = found.root.findall("part/measure")
    assert [len([*score.bars]) for score in found.scores] == [1, 2]
    signs = [
        [(each.get("direction"), each.get("times")) for each in bar.findall("barline/repeat")]
        for bar in bars
    ]
    forward, backward = ("forward", None), ("backward", None)
    assert signs == [[forward, backward], [], [forward, backward]]
    assert not [said for said in texts(found.root, "words") if "times" in said]


@by_example
def test_an_example_has_the_repeat_signs_of_its_page(path: Path) -> None:
    drill = midiforge.read_drill(path)
    written = [*scores(midiforge.exercises(drill))][:3]
    line = paper_of("a4").line
    settings = [cut(score, Engraver(), Layout(line, fill=line)) for score in written]
    drawn = "".join(piece.content for setting in settings for piece in setting.pieces)
    dots = drawn.count('r="2.2"')  # two to a sign
    player = ElementTree.fromstring(musicxml("", written, drill.kit)).find("part[@id='P1']")
    assert player is not None
    assert dots == 2 * len(player.findall("measure/barline/repeat"))


@by_example
def test_a_sign_for_the_bar_before_is_one_in_musicxml_too_and_the_strokes_stand_below_it(
    path: Path,
) -> None:
    drill = midiforge.read_drill(path)
    written = [*scores(midiforge.exercises(drill))]
    xml = musicxml("", written, drill.kit)
    on_screen = [
        piece.is_simile
        for score in written
        for piece in cut(score, Engraver(), Layout(paper_of("a4").line)).pieces
        if piece.begins_bar
    ]
    bars = ElementTree.fromstring(xml).findall("part[@id='P1']/measure")
    signs, on = [], False
    for bar in bars:
        kinds = [repeat.get("type") for repeat in bar.iterfind(".//measure-repeat")]
        assert kinds in ([], ["stop" if on else "start"])
        on ^= bool(kinds)
        signs.append(on)
        assert bar.find("note") is not None
    begins = [bar.find("print[@new-system='yes']") is not None for bar in bars]
    assert not any(sign and begin for sign, begin in zip(signs, begins, strict=True))
    assert signs == [sign and not begin for sign, begin in zip(on_screen, begins, strict=True)]
    verovio.enableLog(verovio.LOG_OFF)
    toolkit = verovio.toolkit()
    assert toolkit.loadData(xml.decode())
    mei = ElementTree.fromstring(toolkit.getMEI())
    space = "{http://www.music-encoding.org/ns/mei}"
    read = [bar.find(f".//{space}mRpt") is not None for bar in mei.iter(f"{space}measure")]
    assert read == signs


def test_words_of_a_bar_are_boxed_above_it() -> None:
    form = {"sticking": "RLRR", "form": "1 call 1 response"}
    bars = lesson(form).root.findall("part/measure")
    boxed = [texts(bar, "words[@enclosure='rectangle']") for bar in bars]
    assert boxed == [["Call"], ["Response: you alone"]]


def test_a_line_above_is_a_part_through_the_whole_file_with_rests_where_it_is_silent() -> None:
    content = {"sticking": "RLRRL", "stages": ["hands", "full"], "layers": "son-clave-3-2"}
    found = lesson(content)
    assert texts(found.root, "part-name") == [ostinatos()["son-clave-3-2"].title, "Drum set"]
    assert texts(found.root, "staff-lines") == ["1", "5"]
    clave, player = found.root.findall("part")
    assert len(clave.findall("measure")) == len(player.findall("measure")) == found.starts[-1]
    hands = clave.findall("measure")[: found.starts[1]]
    for bar in hands:
        (note,) = bar.findall("note")
        assert note.find("rest[@measure='yes']") is not None
    assert clave.find(".//unpitched") is not None
    assert player.find(".//rehearsal") is None, "marks stand above the top part only"
    assert len(clave.findall(".//rehearsal")) == len(found.scores)


def test_a_bar_in_which_nobody_plays_has_one_rest() -> None:
    found = lesson({"sticking": "R---", "placements": "+16", "entry": "late", "meter": "4/4"})
    first = found.root.find("part/measure")
    assert first is not None
    (note,) = first.findall("note")
    assert note.find("rest[@measure='yes']") is not None


# Texts, pages, bytes


NASTY = "<b>&\"'</b> ]]> 🥁 إيقاع リズム練習 a\x00b\x0b\x1f\ufffe\ud800c"


def test_titles_in_any_script_are_escaped_and_lose_what_xml_forbids() -> None:
    """XML 1.0 (fifth edition), section 2.2: the characters a document may have."""
    drill = check_drill({"title": NASTY, "sticking": "RL", "feet": ["> on RF"]})
    written = list(scores(midiforge.exercises(drill)))
    xml = musicxml(NASTY, written, drill.kit)
    assert_valid(xml)
    title = ElementTree.fromstring(xml).findtext("work/work-title")
    assert title == "<b>&\"'</b> ]]> 🥁 إيقاع リズム練習 abc"


@settings(max_examples=30)
@given(st.text())
def test_any_title_can_be_read_again(title: str) -> None:
    written = simple().scores
    root = ElementTree.fromstring(musicxml(title, written, simple().kit))
    kept = [
        c for c in title if c >= " " and c not in "\ufffe\uffff" and not "\ud800" <= c <= "\udfff"
    ]
    found = root.findtext("work/work-title") or ""
    assert [c for c in found if c != " "] == [c for c in kept if c != " "] or not title.strip()


@cache
def simple() -> Lesson:
    return lesson({"sticking": "RL"})


def test_a_typed_pattern_names_its_part() -> None:
    root = lesson({"sticking": "RL", "layers": "x.>. as cowbell"}).root
    assert texts(root, "part-name")[0] == "x.>."


def test_the_same_drill_gives_the_same_bytes_and_no_date() -> None:
    drill = midiforge.read_drill(EXAMPLES[1])
    assert Lesson(drill).xml == Lesson(drill).xml
    root = Lesson(drill).root
    assert root.find(".//encoding-date") is None
    assert root.findtext(".//software") == f"midiforge {midiforge.__version__}"
    assert root.get("version") == "4.0"


@pytest.mark.parametrize(("name", "width", "height"), [("a4", 210, 297), ("letter", 215.9, 279.4)])
def test_a_page_is_as_large_as_the_paper(name: str, width: float, height: float) -> None:
    """ISO 216 and ANSI/ASME Y14.1, in mm; W3C, scaling: how many tenths that is."""
    root = lesson({"sticking": "RL"}, paper=paper_of(name)).root
    mm = float(root.findtext(".//scaling/millimeters") or 0)
    tenths = float(root.findtext(".//scaling/tenths") or 0)
    for side, size in (("width", width), ("height", height)):
        found = float(root.findtext(f".//page-{side}") or 0)
        assert found * mm / tenths == pytest.approx(size, abs=0.01)


def test_large_print_has_fewer_bars_to_a_line() -> None:
    content = {"sticking": "RLRRL", "repeats": 1}
    lines = [
        len(lesson(content, paper=paper_of("a4", large)).root.findall(".//print[@new-system]"))
        for large in (False, True)
    ]
    assert lines[0] < lines[1]


def test_no_exercise_at_all_is_an_error() -> None:
    with pytest.raises(MidiforgeError, match="no exercise"):
        musicxml("", [], simple().kit)
