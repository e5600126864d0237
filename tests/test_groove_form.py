"""A take as a form: which bars it has, in which order, at which tempo, by which limbs."""

import random
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import mido
import pytest

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.files.disk import parsed_toml
from midiforge.groove.imported import Imported
from midiforge.groove.limbs import Moment, deal_by_reach
from midiforge.groove.words import summary
from midiforge.model.hit import Limb

R, L = Limb.RIGHT_HAND, Limb.LEFT_HAND
BASS, SNARE, HIHAT, RIDE, FLOOR, OPEN, PEDAL = 36, 38, 42, 51, 41, 46, 44
CRASH, OTHER_CRASH = 49, 57
A = {HIHAT: "x.x.x.x.x.x.x.x.", SNARE: "....x.......x...", BASS: "x.....x.x......."}
B = {RIDE: "x.x.x.x.x.x.x.x.", SNARE: "....x.......x..x", BASS: "x.x.....x..x...."}
FILL = {SNARE: "xxxxxxxx........", FLOOR: "........xxxxxxxx", BASS: "x..............."}

NOTES = (BASS, SNARE, HIHAT)

Bars = list[dict[int, str]]
Events = list[tuple[float, int, int]]  # seconds, note, velocity


def take(bars: Bars, tempo: float, spread: float = 0.006) -> Events:
    """The bars one after the other in sixteenths, as unevenly as people play."""
    chance = random.Random(5)
    return sorted(
        (max(0.0, (16 * bar + step) * 15 / tempo + chance.gauss(0, spread)), note, 90)
        for bar, notes in enumerate(bars)
        for note, marks in notes.items()
        for step, mark in enumerate(marks)
        if mark == "x"
    )


def written(path: Path, events: Events, tempo: float) -> Path:
    """A file that says its tempo."""
    track = mido.MidiTrack([mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(tempo))])
    now = 0
    for at, note, velocity in events:
        tick = round(at * tempo / 60 * 480)
        track.append(
            mido.Message("note_on", channel=9, note=note, velocity=velocity, time=tick - now)
        )
        now = tick
    midi = mido.MidiFile(ticks_per_beat=480)
    midi.tracks.append(track)
    midi.save(path)
    return path


def imported(path: Path, bars: Bars, tempo: float, kind: str = "") -> Imported:
    return midiforge.import_groove(written(path / "take.mid", take(bars, tempo), tempo), kind=kind)


def bars_of(groove: Imported) -> dict[str, str]:
    bars = parsed_toml(groove.text, Path("take.toml"))["bars"]
    assert isinstance(bars, dict)
    return bars


def test_a_take_is_told_by_its_bars_and_their_order(tmp_path: Path) -> None:
    groove = imported(tmp_path, [A, A, A, FILL, B, B, B, FILL], 102)
    assert groove.kind == "form"
    assert groove.road_map == "3 A, fill, 3 B, fill"
    bars = bars_of(groove)
    assert bars["A"].splitlines() == [
        "RH hihat-closed  x.x. x.x. x.x. x.x.",
        "LH snare         .... x... .... x...",
        "RF bass-drum     x... ..x. x... ....",
    ]
    assert set(bars) == {"A", "B", "fill"}


def test_a_long_take_is_told_in_short(tmp_path: Path) -> None:
    """So many bars of a kind and its fills; two bars of another make no section, eight do."""
    varied = {**A, BASS: "x.....x.x.....x."}
    first = [*[A] * 7, FILL, A, B, B, varied, varied, A, A, FILL]
    groove = imported(tmp_path, [*first, *[B] * 8, A, A, A, A], 102, kind="form")
    assert [(s.first, s.bars, s.kinds, s.fills) for s in groove.sections] == [
        (0, 16, ("A",), 2),
        (16, 8, ("B",), 0),
        (24, 4, ("A",), 0),
    ]
    assert "In short: bars 1-16 A with 2 fills, 17-24 B, 25-28 A." in " ".join(summary(groove))


def test_what_is_read_first_stands_first(tmp_path: Path) -> None:
    varied = {**A, BASS: "x.....x.x.....x."}
    crashed = {**A, HIHAT: "..x.x.x.x.x.x.x.", CRASH: "x..............."}
    bars = [*[A] * 6, *[varied] * 5, *[B] * 6, *[crashed, A] * 3, FILL]
    groove = imported(tmp_path, bars, 96, kind="form")
    names = list(bars_of(groove))
    variants = [name for name, text in bars_of(groove).items() if text.startswith("like")]
    assert variants
    assert names.index("B") < names.index("fill") < names.index(variants[0])
    assert "# Fills, and bars that come now and then.\nfill = " in groove.text
    assert f"# Variants of the bars above.\n{variants[0]} = " in groove.text


def test_a_bar_is_written_in_steps_that_are_read(tmp_path: Path) -> None:
    """A shuffle with a ghost note between its triplets is in sextuplets, and sixteenths that lie
    late are sixteenths: no bar has twelve steps to a beat."""
    shuffle = {HIHAT: "x...x.x...x.x...x.x...x.", SNARE: "......x.......x...x..x.."}
    late = [(at, note, velocity) for at, note, velocity in take([A] * 12, 90)]
    late = [(at + 0.025 * (note == BASS), note, velocity) for at, note, velocity in late]
    third = 60 / 72 / 6
    chance = random.Random(3)
    swung = [
        (max(0.0, (24 * bar + step) * third + chance.gauss(0, 0.012)), note, 90)
        for bar in range(12)
        for note, marks in shuffle.items()
        for step, mark in enumerate(marks)
        if mark == "x"
    ]
    for events, tempo, most in ((sorted(late), 90, 4), (sorted(swung), 72, 6)):
        path = written(tmp_path / "take.mid", events, tempo)
        for text in bars_of(midiforge.import_groove(path, kind="form")).values():
            assert all(
                len(line.split(maxsplit=2)[-1].replace(" ", "")) <= 4 * most
                for line in text.splitlines()
            )


def test_a_single_sixteenth_among_eighths_stays_where_it_was_played(tmp_path: Path) -> None:
    plain = {HIHAT: "x.x.x.x.x.x.x.x.", SNARE: "....x.......x...", BASS: "x.......x......."}
    other = {**plain, RIDE: "x.x.x.x.x.x.x.x.", HIHAT: "....x.......x..."}
    early = {**plain, BASS: "x......x........"}
    for tempo in (72, 104, 138):
        groove = imported(tmp_path, [plain, plain, other, early, other, plain], tempo, kind="form")
        assert not groove.wrong
        assert any("x... ...x .... ...." in text for text in bars_of(groove).values())


def test_only_the_fills_come_behind_the_groove(tmp_path: Path) -> None:
    groove = imported(tmp_path, [A, A, A, FILL, A, A, A, A], 102, kind="fills")
    assert groove.road_map == "3 A, fill"
    with pytest.raises(MidiforgeError, match="no bar of it is a fill"):
        imported(tmp_path, [A, A, A, B, B, A, A, A], 102, kind="fills")


def test_a_voice_that_only_one_part_has_is_not_lost(tmp_path: Path) -> None:
    groove = imported(tmp_path, [A] * 13 + [B] * 3, 96)
    assert any("ride" in text for text in bars_of(groove).values())


def test_what_one_instrument_changes_is_laid_over_the_bar(tmp_path: Path) -> None:
    """The usual bar, its bass drum in another way, and a crash on the first beat of a phrase."""
    other = {**A, BASS: "x...x.x...x....."}
    crashed = {**A, HIHAT: "..x.x.x.x.x.x.x.", CRASH: "x..............."}
    bars = [A, other, A, other, crashed, other, A, A, A, A, crashed, A]
    path = written(tmp_path / "take.mid", take(bars, 96), 96)
    groove = midiforge.import_groove(path, kind="form", kinds=1)
    assert bars_of(groove)["bass"] == "RF bass-drum x. xx .x .."
    assert bars_of(groove)["crash"] == "RH crash x. .. .. .."
    assert groove.road_map.startswith("2 (A, A+bass), A+crash, A+bass, 2 A")


def test_changes_are_called_as_drummers_call_them(tmp_path: Path) -> None:
    late = {**A, HIHAT: "x.x.x.x.x.x..xx.", CRASH: "............x..."}
    opened = {**A, HIHAT: "x.x.x.x.x.x.x.x.".replace("x", ".", 1), OPEN: "x..............."}
    bars = [A, A, late, A, opened, A, A, late, A, opened, A, A]
    path = written(tmp_path / "take.mid", take(bars, 96), 96)
    groove = midiforge.import_groove(path, kind="form", kinds=1)
    assert {"crash-on-4", "open-hihat"} <= bars_of(groove).keys()


def test_changes_of_two_crashes_have_names_of_their_own(tmp_path: Path) -> None:
    one, two = {**A, CRASH: "x..............."}, {**A, OTHER_CRASH: "x..............."}
    three = {**A, CRASH: "x.......x......."}
    path = written(tmp_path / "take.mid", take([A, one, two, three, A] * 6, 96), 96)
    names = bars_of(midiforge.import_groove(path, kind="form", kinds=1)).keys()
    assert names == {"A", "crash", "crash-2", "crash-3"}


def test_a_pedal_more_or_less_is_not_worth_a_word(tmp_path: Path) -> None:
    usual, other = {**A, PEDAL: "....x.......x..."}, {**A, PEDAL: "....x......xx..."}
    path = written(tmp_path / "take.mid", take([usual, usual, other, usual] * 8, 96), 96)
    assert midiforge.import_groove(path, kind="form", kinds=1).road_map == "32 A"


def test_a_long_take_has_few_kinds_of_bar_and_says_what_it_leaves_rough(tmp_path: Path) -> None:
    chance = random.Random(7)
    drums = (SNARE, FLOOR, CRASH)
    fills = [
        {note: "".join(chance.choice("x..") for _ in range(16)) for note in drums}
        for _ in range(12)
    ]
    take_of = [bar for fill in fills for bar in (A, A, A, fill)]
    path = written(tmp_path / "take.mid", take(take_of, 100), 100)
    few = midiforge.import_groove(path, kinds=2)
    assert few.cells == 2
    assert any("only roughly so" in remark for remark in few.remarks)
    near = midiforge.import_groove(path, kinds=16)
    assert near.explained > few.explained
    assert len(few.text.splitlines()) < len(near.text.splitlines())


def test_a_file_s_tempo_is_kept_where_strokes_stray_from_it(tmp_path: Path) -> None:
    for seed, tempo in enumerate((71, 102, 187)):
        chance = random.Random(seed)
        bars = [
            {
                note: "".join(chance.choice("x..") for _ in range(16))
                for note in (BASS, SNARE, HIHAT)
            }
            for _ in range(9)
        ]
        events = take(bars, tempo, spread=0.03)
        path = written(tmp_path / "a.mid", events, tempo)
        assert midiforge.import_groove(path, anyway=True).tempo == tempo


def test_a_beater_that_comes_back_is_no_stroke(tmp_path: Path) -> None:
    """50 to 80 ms later and a third as loud (measured on the recordings)."""
    events = take([A, A, A, FILL, B, B, B, FILL], 102)
    back = [(at + 0.06, note, 28) for at, note, _ in events if note == BASS]
    path = written(tmp_path / "take.mid", sorted([*events, *back]), 102)
    groove = midiforge.import_groove(path)
    assert groove.bounces == len(back)
    rung = [(at + 0.03, note, 80) for at, note, _ in events if note == BASS]
    path = written(tmp_path / "take.mid", sorted([*events, *rung]), 102)
    assert midiforge.import_groove(path).bounces == len(rung)
    double = [(at + 0.12, note, 60) for at, note, _ in events if note == BASS]
    path = written(tmp_path / "take.mid", sorted([*events, *double]), 102)
    assert midiforge.import_groove(path).bounces == 0
    assert groove.road_map == "3 A, fill, 3 B, fill"
    assert groove.steps == 4


def noise(chance: random.Random) -> Events:
    return sorted((chance.uniform(0, 60), chance.choice((SNARE, BASS)), 90) for _ in range(200))


def without_a_pulse(chance: random.Random) -> Events:
    """Flurries that hurry or drag, with a breath between them."""
    now, events = 0.0, []
    while now < 60:
        gap, change = chance.uniform(0.08, 0.5), chance.uniform(0.9, 1.1)
        for _ in range(chance.randint(3, 14)):
            events.append((now, chance.choice((SNARE, BASS, FLOOR)), 90))
            gap = min(1.0, max(0.06, gap * change))
            now += gap * chance.uniform(0.85, 1.15)
        now += chance.uniform(0.1, 1.2)
    return events


@pytest.mark.parametrize("played", [noise, without_a_pulse])
def test_what_has_no_beat_is_refused_unless_it_is_asked_for(
    played: Callable[[random.Random], Events], tmp_path: Path
) -> None:
    """Chance is a quarter of a step from the next one on average."""
    refused = 0
    for seed in range(12):
        path = written(tmp_path / "take.mid", played(random.Random(seed)), 97)
        assert midiforge.import_groove(path, anyway=True).text
        try:
            midiforge.import_groove(path)
        except MidiforgeError as error:
            refused += "a quarter of a step" in str(error)
    assert refused >= 10  # some noise is by chance as even as people play


def test_what_is_played_unevenly_is_not_refused(tmp_path: Path) -> None:
    for tempo in (60, 97, 180):
        events = take([A, A, A, FILL, B, B, B, FILL], tempo, spread=0.025)
        midiforge.import_groove(written(tmp_path / "take.mid", events, tempo))


def test_a_flam_is_written_as_one(tmp_path: Path) -> None:
    flammed = {**A, SNARE: "............x..."}
    events = take([A, flammed, A, B] * 2, 96)
    grace = [(at - 0.03, SNARE, 30) for at, note, _ in events if note == SNARE]
    alone = [(at, note, v) for at, note, v in events if note != HIHAT]
    path = written(tmp_path / "take.mid", sorted([*alone, *grace]), 96)
    groove = midiforge.import_groove(path, kind="form")
    assert groove.ornaments["flam"] > 0
    assert "f" in "".join(line.split()[-1] for line in bars_of(groove)["A"].splitlines())


def test_time_is_the_right_hand_s_and_the_snare_the_left_s() -> None:
    moments = [
        Moment(i * 0.15, ("hihat-closed", "snare") if i % 4 == 2 else ("hihat-closed",), i % 2 == 0)
        for i in range(8)
    ]
    assert deal_by_reach(moments) == [(R,), (R,), (R, L), (R,)] * 2


def test_a_roll_goes_hand_to_hand() -> None:
    dealt = deal_by_reach([Moment(i * 0.08, ("snare",), i % 4 == 0) for i in range(12)])
    assert all(one != other for one, other in pairwise(dealt))


SNARE_RIM, RIDE_BELL = 40, 53


def in_steps(bars: Bars, tempo: float, per_beat: int, late: dict[int, float]) -> Events:
    """The bars one after the other, so many steps to a beat. late: s, of the strokes of a note, as
    unevenly as people lay back."""
    chance = random.Random(11)
    step = 60 / tempo / per_beat
    return sorted(
        (
            max(0.0, (4 * per_beat * bar + i) * step)
            + (chance.gauss(late[note], 0.004) if note in late else 0.0),
            note,
            90,
        )
        for bar, notes in enumerate(bars)
        for note, marks in notes.items()
        for i, mark in enumerate(marks)
        if mark == "x"
    )


def on_kit(path: Path, events: Events, tempo: float) -> Imported:
    kit = midiforge.read_kit("electronic")
    return midiforge.import_groove(written(path / "take.mid", events, tempo), kit=kit, kind="form")


def test_head_and_rim_of_one_drum_make_no_two_bars(tmp_path: Path) -> None:
    """Rim shots that now and then are heard as strokes on the head are rim shots; what a part is
    played on all along stays apart."""
    backbeats = [(at, note) for at, note, _ in take([A] * 24, 96) if note == SNARE]
    heads = set(backbeats[::7])
    events = [
        (at, SNARE_RIM if note == SNARE and (at, note) not in heads else note, velocity)
        for at, note, velocity in take([A] * 24, 96)
    ]
    groove = on_kit(tmp_path, events, 96)
    assert groove.road_map == "24 A"
    assert "LH snare-rim     .. x. .. x." in bars_of(groove)["A"]
    bow = {RIDE: A[HIHAT], SNARE: A[SNARE], BASS: A[BASS]}
    bell = {RIDE_BELL: A[HIHAT], SNARE: A[SNARE], BASS: A[BASS]}
    parts = on_kit(tmp_path, take([bow] * 8 + [bell] * 8, 96), 96)
    assert parts.road_map.split() == ["8", "A", "8", "A2"]
    assert "ride-bell" in bars_of(parts)["A2"]


def test_a_bar_is_written_as_it_was_mostly_played(tmp_path: Path) -> None:
    """Each bar lacks other strokes of the hi-hat; still it is one bar, and lacks none."""
    chance = random.Random(2)
    bars: Bars = []
    for left_out in (chance.sample(range(8), 2) for _ in range(24)):
        hats = "".join("." if i % 2 or i // 2 in left_out else "x" for i in range(16))
        bars.append({**A, HIHAT: hats})
    path = written(tmp_path / "take.mid", take(bars, 96), 96)
    groove = midiforge.import_groove(path, kind="form", kinds=1)
    assert groove.road_map == "24 A"
    assert bars_of(groove)["A"].startswith("RH hihat-closed  xx xx xx xx")


def test_a_snare_that_is_laid_back_is_on_the_beat_all_along(tmp_path: Path) -> None:
    """At 92 some strokes, late by 34 ms and a little more, are nearer to the next thirty-second
    than to their beat; a roll of these stays one."""
    chance = random.Random(4)
    hats, snare = "x.xxx...x...x...x...x...x...x...", "........x...............x......."
    bars: Bars = [
        {HIHAT: hats, SNARE: snare, BASS: "".join(chance.choice("x.") + "..." for _ in range(8))}
        for _ in range(16)
    ]
    bars[11] = {**bars[11], SNARE: "........x...........x...xxxxx..."}
    events = in_steps(bars, 92, 8, {SNARE: 0.034})
    kit = midiforge.read_kit("electronic")
    path = written(tmp_path / "take.mid", events, 92)
    groove = midiforge.import_groove(path, kit=kit, kind="form", kinds=16)
    struck = {
        i
        for text in bars_of(groove).values()
        for line in text.splitlines()
        if "snare" in line
        for marks in ["".join(line.split()[2:])]
        for i in range(32)
        if marks[i * len(marks) // 32] != "." and i * len(marks) % 32 == 0
    }
    assert {8, 24} <= struck <= {8, 20, 24, 25, 26, 27, 28}


def test_a_bar_of_sixteenths_is_written_so_among_bars_of_thirty_seconds(tmp_path: Path) -> None:
    fine = {
        HIHAT: "xxxxx.x.x.x.x.x.xxxxx.x.x.x.x.x.",
        SNARE: "........x...............x.......",
        BASS: "x...............x...............",
    }
    coarse = {
        HIHAT: "x.x.x.x.x.x.x.x.x.x.x.x.x.x.x.x.",
        SNARE: "........x...........x.x.....x...",
        BASS: "x.....x.........x.x...x.........",
    }
    groove = on_kit(tmp_path, in_steps([*[fine] * 8, *[coarse] * 8], 80, 8, {}), 80)
    assert groove.steps == 8
    texts = bars_of(groove)
    marks = {n: len("".join(t.splitlines()[0].split()[2:])) for n, t in texts.items()}
    assert sorted(marks.values()) == [16, 32]
