"""mido's `MidiFile` in and out of the library.

Out, it is the file that `build` and `loop` write, event by event. In, it is the same as the path
of the file that it would be saved to: a take, a groove.
"""

import io
import random
import subprocess
import sys
from collections import Counter
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import mido
import pytest
from test_hear_reading import _random_file

import midiforge
from midiforge import MidiforgeError, Session
from midiforge.midi.message import PEDAL
from midiforge.midi.mido_file import content_of
from midiforge.midi.reading import parse
from midiforge.practice.log import Log

DRILLS: dict[str, dict[str, Any]] = {
    "several tempos": {"sticking": "RLRR LRLL", "feet": "samba", "tempos": "72,92.5"},
    "format 0": {"sticking": "RLRR", "feet": "tumbao", "format": 0},
    "flams over the seam": {"sticking": "lR L R rL R L", "meter": "6/8", "steps": 3},
    "a ramp": {"sticking": "RLRR", "ramp": "60 to 72 by 5 every 1 bars"},
    "a band": {"sticking": "RLRR", "style": "bossa-nova", "chords": "Dm7 | G7"},
    "letters of another script": {
        "sticking": "RL",
        "title": "左右 ruĝa",
        "layers": "1 3 as cowbell",
    },
}


def session(name: str) -> Session:
    return Session(midiforge.check_drill(DRILLS[name]), log=None)


def read(content: bytes) -> mido.MidiFile:
    return mido.MidiFile(file=io.BytesIO(content), charset="utf-8")


def saved(midi: mido.MidiFile) -> bytes:
    stream = io.BytesIO()
    midi.save(file=stream)
    return stream.getvalue()


def same(ours: mido.MidiFile, theirs: mido.MidiFile) -> None:
    """Every event of every track, its tick, and what the header says."""
    assert (ours.type, ours.ticks_per_beat) == (theirs.type, theirs.ticks_per_beat)
    assert [[*track] for track in ours.tracks] == [[*track] for track in theirs.tracks]


# Out


@pytest.mark.parametrize("name", DRILLS)
def test_an_exercise_and_the_lesson_are_what_build_writes(name: str, tmp_path: Path) -> None:
    of = session(name)
    of.build(tmp_path)
    files = sorted(path for path in tmp_path.glob("*.mid") if path.name != "lesson.mid")
    for exercise, path in zip(of.lesson, files, strict=True):
        made = midiforge.midi_file(exercise, of.drill.kit, of.drill.file_format)
        same(made, read(path.read_bytes()))
        assert sum(len(track) for track in made.tracks) > len(exercise.hits)
    same(of.midi_file(), read((tmp_path / "lesson.mid").read_bytes()))


def test_a_loop_is_what_loop_writes_as_often_as_it_goes_round(tmp_path: Path) -> None:
    of = session("several tempos")
    report = of.loops(tmp_path, midiforge.Shape(kinds=("without-hands", "gaps"), minutes=0.5))
    assert {written.loop.times > 1 for written in report.written} == {True}
    for written in report.written:
        loop = written.loop
        made = midiforge.midi_file(loop.exercise, of.drill.kit, times=loop.times)
        same(made, read((tmp_path / written.file).read_bytes()))


def test_some_exercises_are_a_lesson_of_these() -> None:
    of = session("several tempos")
    some, lengths = of.midi_file("2,3b"), [of.lesson[n].seconds for n in ("2a", "2b", "3b")]
    assert some.length == pytest.approx(float(sum(lengths)), abs=1e-3)
    with pytest.raises(MidiforgeError, match="there is no exercise 99"):
        of.midi_file("99")


def test_what_was_made_can_be_changed_and_saved_with_mido(tmp_path: Path) -> None:
    of = session("letters of another script")
    made = of.midi_file()
    made.tracks[0].append(mido.MetaMessage("text", text="mine"))
    made.save(tmp_path / "mine.mid")
    again = mido.MidiFile(tmp_path / "mine.mid", charset="utf-8")
    assert again.tracks[0].name == made.tracks[0].name == "左右 ruĝa"


def test_mido_is_loaded_by_whoever_asks_for_its_files_alone(tmp_path: Path) -> None:
    code = """
import sys, midiforge
drill = midiforge.check_drill({"sticking": "RLRR"})
session = midiforge.Session(drill, None)
content = midiforge.exercise_bytes(next(iter(session.lesson)), drill.kit)
open(sys.argv[1], "wb").write(content)
session.review(sys.argv[1], 1)
midiforge.import_groove(sys.argv[1])
assert "mido" not in sys.modules
session.midi_file()
assert "mido" in sys.modules
"""
    subprocess.run([sys.executable, "-c", code, tmp_path / "own.mid"], check=True)


# In


@pytest.mark.parametrize("seed", range(60))
def test_a_midifile_holds_what_its_file_holds(seed: int) -> None:
    midi = _random_file(seed)
    assert content_of(midi) == parse(saved(midi))


@pytest.mark.parametrize("seed", range(20))
def test_marks_meters_names_and_frames_are_the_file_s(seed: int) -> None:
    chance = random.Random(seed)
    midi = mido.MidiFile(
        type=chance.choice([1, 2]),
        ticks_per_beat=chance.choice([96, 480, -6136, -7376]),  # 25 frames of 8 ticks, 30 of 48
        charset=chance.choice(["latin1", "utf-8"]),
    )
    for _ in range(3):
        track = midi.add_track(
            chance.choice(["take", "Größe", "左右"[: 2 * (midi.charset == "utf-8")]])
        )
        for _ in range(20):
            track.append(
                chance.choice(
                    [
                        mido.MetaMessage("marker", text="midiforge: first downbeat"),
                        mido.MetaMessage("time_signature", numerator=7, denominator=8),
                        mido.MetaMessage("set_tempo", tempo=400_000),
                        mido.Message("note_on", channel=9, note=38, velocity=chance.randint(0, 9)),
                        mido.Message("control_change", channel=9, control=PEDAL, value=3),
                        mido.Message("control_change", channel=9, control=7, value=3),
                    ]
                ).copy(time=chance.randint(0, 300))
            )
    parsed, held = parse(saved(midi)), content_of(midi)
    if midi.charset == "latin1":  # a file of ours would have them as UTF-8
        parsed.names = held.names = []
    assert held == parsed


def test_a_take_is_the_same_by_its_path_and_as_a_midifile(tmp_path: Path) -> None:
    of = session("several tempos")
    path = tmp_path / "take.mid"
    path.write_bytes(midiforge.exercise_bytes(of.lesson["2b"], of.drill.kit))
    assert midiforge.read_take(mido.MidiFile(path)) == midiforge.read_take(path)
    assert midiforge.read_take(mido.MidiFile(path)).source == str(path)
    by_path, in_memory = of.review(path, "2b"), of.review(mido.MidiFile(path), "2b")
    assert midiforge.sentences(by_path) == midiforge.sentences(in_memory)
    assert by_path.review.tally == in_memory.review.tally


def struck_live() -> mido.MidiFile:
    """A take as a program puts it together from what a port heard, clock and all."""
    midi = mido.MidiFile(type=0)
    track = midi.add_track()
    for beat in range(16):
        number = (36, 38)[beat % 2]
        track.append(mido.Message("clock", time=20))
        track.append(mido.Message("note_on", channel=9, note=number, velocity=90, time=220))
        track.append(mido.Message("active_sensing"))
        track.append(mido.Message("note_off", channel=9, note=number))
    return midi


def test_what_a_port_heard_is_a_take_without_a_file() -> None:
    take = midiforge.read_take(struck_live())
    assert take.source == ""
    assert [stroke.quarter for stroke in take.strokes] == [0.5 * (i + 1) for i in range(16)]
    assert Counter(stroke.number for stroke in take.strokes) == {36: 8, 38: 8}


def test_a_review_of_what_is_no_file_is_told_and_kept_once(tmp_path: Path) -> None:
    drill = midiforge.check_drill({"sticking": "RL", "steps": 1, "tempos": 120, "stages": "full"})
    of, take = Session(drill, tmp_path / "log.sqlite"), Session(drill, None).midi_file("1")
    found = of.review(take, 1)
    assert found.review.tally.missed == 0
    assert of.next_step(found, take)
    midiforge.write_review(found, tmp_path / "review.html")
    assert of.keep(found, take, "tired") and of.keep(found, take)
    (entry,) = Log(tmp_path / "log.sqlite").entries()
    assert entry.source == ""
    assert datetime.now(UTC) - entry.when < timedelta(minutes=5)


def test_a_groove_in_memory_becomes_the_drill_that_its_file_becomes(tmp_path: Path) -> None:
    of = session("several tempos")
    midi = midiforge.midi_file(of.lesson[1], of.drill.kit)
    midi.save(tmp_path / "Groove.mid")
    held, filed = midiforge.import_groove(midi), midiforge.import_groove(tmp_path / "Groove.mid")
    told = held.text.replace("From MIDI that was no file.", "From Groove.mid.")
    assert body(told) == body(filed.text)
    assert (held.title, held.tempo, held.steps) == (filed.title, filed.tempo, filed.steps)
    by_name = midiforge.import_groove(mido.MidiFile(tmp_path / "Groove.mid"))
    assert by_name == filed


def body(text: str) -> list[str]:
    """A drill's lines without the checksum on top."""
    return text.splitlines()[1:]


@pytest.mark.parametrize("reads", [midiforge.read_take, midiforge.import_groove])
def test_what_is_no_midi_in_memory_is_one_clear_line(reads: Any) -> None:
    late = mido.MidiFile()
    late.add_track().append(mido.Message("note_on", note=38, time=0.5))
    backwards = mido.MidiFile(tracks=[mido.MidiTrack([mido.Message("note_on", time=-3)])])
    for wrong, said in (
        (late, "track 1: a message comes 0.5 after the one before (whole ticks from 0"),
        (backwards, "track 1: a message comes -3 after"),
        (mido.MidiFile(), "there is no"),
        (mido.MidiFile(ticks_per_beat=0), "the file's ticks have no length"),
        (7, "int is neither a path nor a mido.MidiFile"),
        (None, "NoneType is neither a path"),
    ):
        with pytest.raises(MidiforgeError) as caught:
            reads(wrong)
        assert str(caught.value).startswith(said)


def test_a_take_of_a_day_in_memory_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("midiforge.midi.content.MOST_EVENTS", 15)
    with pytest.raises(MidiforgeError, match="more than 15 strokes"):
        midiforge.read_take(struck_live())
