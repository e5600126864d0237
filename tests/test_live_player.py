"""The player against a clock that is not real: what is sent, in which order, to the nanosecond.

Where a note is due is worked out here from the drill's own numbers (a quarter note at 97 lasts
60/97 s), never by the code that is tested. MIDI bytes and beat clock: MIDI 1.0 Detailed
Specification (note off 8n, note on 9n, controllers 120 and 123, F8, FA, FB, FC, F2).
"""

from collections.abc import Callable, Iterable
from concurrent.futures import Executor, Future
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Any

import pytest

import midiforge
from midiforge.kits.kit import Kit
from midiforge.live.clock.sync_source import InternalClock
from midiforge.live.clock.timing import LatenessFigures
from midiforge.live.playing import player as player_module
from midiforge.live.playing.bars import PlayableExercise, playable
from midiforge.live.playing.controls import Chosen, Command
from midiforge.live.playing.player import Player
from midiforge.live.playing.route import Place, Route, always
from midiforge.live.ports.sender import Sender
from midiforge.live.screen.watcher import Watcher
from midiforge.session import rounds

SECOND = 1_000_000_000
MS = 1_000_000
HOUR = 3600 * SECOND
CLOCK, START, CONTINUE, STOP = b"\xf8", b"\xfa", b"\xfb", b"\xfc"
SILENCE = [b"\xb9\x78\x00", b"\xb9\x7b\x00"]  # controllers 120 and 123 on channel 10
HIHAT, SNARE, BASS, CLICK_1, CLICK = 42, 38, 36, 76, 77  # General MIDI percussion key map


@dataclass
class FakeClock:
    """Time passes by sleeping, and a little by looking.

    events: (when, what happens then), by time.
    """

    step: int = 20_000
    at: int = 10**12
    events: list[tuple[int, Callable[[], object]]] = field(default_factory=list)
    looks: int = 0

    def now(self) -> int:
        self._pass(self.step)
        return self.at

    def sleep(self, nanoseconds: int) -> None:
        assert nanoseconds >= 0
        self._pass(nanoseconds)

    def _pass(self, nanoseconds: int) -> None:
        self.looks += 1
        assert self.looks < 2_000_000, "it never ends"
        end = self.at + nanoseconds
        while self.events and self.events[0][0] <= end:
            when, happens = self.events.pop(0)
            self.at = max(self.at, when)
            happens()
        self.at = max(self.at, end)

    def jump(self, nanoseconds: int) -> None:
        """The machine sleeps."""
        self.at += nanoseconds


@dataclass
class Wire:
    """An output, and what came through it: (when, message).

    plugged: whether there is anybody; what is sent to nobody is lost without a word.
    """

    clock: FakeClock
    came: list[tuple[int, bytes]] = field(default_factory=list)
    plugged: bool = True
    opened: bool = True
    tried: int = 0
    after: Callable[[bytes], None] = lambda _: None

    def send(self, message: bytes) -> None:
        if self.plugged and self.opened:
            self.came.append((self.clock.at, message))
        self.after(message)

    def alive(self) -> bool:
        self.opened = self.opened and self.plugged
        return self.opened

    def connect_anew(self) -> bool:
        return False

    def reopen(self) -> bool:
        self.tried += 1
        self.opened = self.plugged
        return self.opened

    @property
    def messages(self) -> list[bytes]:
        return [message for _, message in self.came]

    def ons(self) -> list[tuple[int, int]]:
        """When each note began, and its number."""
        return [(at, m[1]) for at, m in self.came if m[0] & 0xF0 == 0x90 and m[2]]

    def only(self, *numbers: int) -> list[int]:
        """When these notes began."""
        return [at for at, number in self.ons() if number in numbers]


def hanging(messages: Iterable[bytes]) -> set[int]:
    """The notes that sound after the messages, controllers 120 and 123 not counted."""
    sounding: set[int] = set()
    for message in messages:
        if message[0] & 0xF0 == 0x90 and message[2]:
            sounding.add(message[1])
        elif message[0] & 0xE0 == 0x80:
            sounding.discard(message[1])
    return sounding


class Diary(InternalClock):
    """Our own time, and what it last said."""

    last = 0

    def deadline(self, at: float) -> int:
        self.last = super().deadline(at)
        return self.last


SENT = {"band", "channel", "program", "muted", "levels"}  # what a sender is told


@dataclass
class Concert:
    """A drill that is played; `bars` are the places that were played, with their time."""

    drill: dict[str, Any]
    times: int = 1
    forever: bool = False
    clock: FakeClock = field(default_factory=FakeClock)
    executor: Executor | None = None
    kit: Kit | None = None
    keep: Callable[[Any], bool] = lambda _: True
    bars: list[tuple[int, Place]] = field(default_factory=list)
    said: list[tuple[int, str]] = field(default_factory=list)
    made: list[tuple[int, Fraction]] = field(default_factory=list)

    def __post_init__(self) -> None:
        checked = midiforge.check_drill(
            {"stages": "full", "count_in": 1, "tempos": "120", "steps": 1, **self.drill}
        )
        self.kit = self.kit or checked.kit
        self.exercises = [each for each in midiforge.exercises(checked) if self.keep(each)]
        self.wire = Wire(self.clock)
        self.route = Route(
            self.exercises, self._make, always(self.times), self.forever, self.executor
        )
        self.start = self.clock.at

    def _make(self, exercise: midiforge.Exercise, faster: Fraction) -> PlayableExercise:
        assert self.kit
        self.made.append((exercise.number.piece, faster))
        return playable(exercise, self.kit, faster)

    def player(self, **keys: Any) -> Player:
        sent = {key: keys.pop(key) for key in SENT & keys.keys()}
        self.of = Player(Sender(self.wire, **sent), self.clock, self.route, **keys)
        self.of.watcher = Watcher(
            bar=lambda place: self.bars.append((self.clock.at, place)),
            say=lambda text: self.said.append((self.clock.at, text)),
        )
        return self.of

    def at(self, seconds: float, what: Command | Chosen | Callable[[], object]) -> None:
        """Something happens so many seconds after the first event."""
        when = self.start + player_module.LEAD + round(seconds * SECOND)
        does = (lambda: self.of.wish(what)) if isinstance(what, Command | Chosen) else what
        self.clock.events.append((when, does))
        self.clock.events.sort(key=lambda event: event[0])

    def play(self, **keys: Any) -> LatenessFigures:
        return self.player(**keys).play()

    def numbers(self) -> list[tuple[int, int]]:
        """Exercise and bar of each bar that was played."""
        return [(place.playable.exercise.number.piece, place.bar.number) for _, place in self.bars]


def seconds(times: list[int]) -> list[float]:
    """Times after the first of them, in seconds to the ms."""
    return [round((each - times[0]) / SECOND, 3) for each in times]


# One bar of four at 120: a bar lasts 2 s, the count-in comes first.
FOUR = {"sticking": "RLRL"}
TWO = {"sticking": "RLRL", "placements": "0, 1"}


# Deadlines


def test_no_deadline_drifts_in_ten_hours(monkeypatch: pytest.MonkeyPatch) -> None:
    # How long it sleeps at most has no part in when notes are due, but in how long this takes.
    monkeypatch.setattr(player_module, "SLICE", 10 * SECOND)
    monkeypatch.setattr(player_module, "LOOK_EVERY", HOUR)
    concert = Concert({"sticking": "RLRLRLR", "meter": "7/4", "tempos": "97"}, times=0)
    player = concert.player(sync=(diary := Diary()))
    due: list[int] = []
    player.watcher.moment = lambda _: due.append(diary.last)
    concert.at(36_000, Command.QUIT)
    concert.clock.step = 150_000
    figures = player.play()
    quarters = 36_000 * 97 // 60
    assert abs(len(due) - quarters) <= 1
    quarter = Fraction(60 * SECOND, 97)
    wrong = max(abs(at - due[0] - i * quarter) for i, at in enumerate(due))
    assert wrong <= 1  # each is rounded to a nanosecond, and so is the first
    ons = concert.wire.ons()
    assert len(ons) == len(due) + len(due) - 7  # a click each, and a stroke but in the count-in
    clicks = concert.wire.only(CLICK, CLICK_1)
    late = [sent - at for sent, at in zip(clicks, due, strict=True)]
    assert min(late) >= 0
    assert max(late) <= 2 * concert.clock.step
    assert figures.events == len(due)
    assert figures.worst <= 2 * concert.clock.step / 1000


def test_the_figures_are_those_of_the_clock() -> None:
    # The clock goes on by one step at each look: seen at or after the deadline, then once more.
    concert = Concert(FOUR)
    figures = concert.play()
    assert figures.events == 8
    assert 0 < figures.median <= figures.p99 <= figures.worst <= 2 * concert.clock.step / 1000


def test_a_triplet_over_an_uneven_bar_is_exact() -> None:
    concert = Concert({"sticking": "RLR", "meter": "5/8", "steps": 3, "tempos": "61"}, times=3)
    player = concert.player(sync=(diary := Diary()))
    due: dict[int, None] = {}
    player.watcher.moment = lambda _: due.setdefault(diary.last)
    player.play()
    exercise = concert.exercises[0]
    times = {
        Fraction(hit.time) + lap * exercise.length
        for hit in exercise.hits
        for lap in range(3 if hit.time >= 0 else 1)
    }
    expected = sorted(times)
    assert exercise.tempo.pulse in (1, Fraction(1, 2), Fraction(3, 2))
    quarter = Fraction(60 * SECOND, 61) / exercise.tempo.pulse
    first = next(iter(due))
    assert len(due) == len(expected)
    for at, time in zip(due, expected, strict=True):
        assert abs(at - first - (time - expected[0]) * quarter) <= 1


def test_a_tempo_that_rises_bar_by_bar_is_kept_bar_by_bar() -> None:
    concert = Concert({**FOUR, "ramp": "60 to 120 by 60 every 1 bars", "tempos": "60"})
    concert.play()
    clicks = seconds(concert.wire.only(CLICK, CLICK_1))
    # A bar of count-in and one at 60, one at 120.
    assert clicks == [*map(float, range(8)), *(8 + i / 2 for i in range(4))]


# What sounds together


def test_what_sounds_together_is_sent_together_the_bass_drum_first() -> None:
    concert = Concert({"sticking": "R>LRL", "feet": "1 3"})
    concert.play()
    together: dict[int, list[tuple[int, int]]] = {}
    for at, message in concert.wire.came:
        if message[0] == 0x99:
            together.setdefault(at, []).append((message[1], message[2]))
    bar = list(together.values())[4:]
    assert bar[0][0][0] == BASS
    assert BASS in [number for number, _ in bar[2]] and bar[2][0][0] == BASS
    for moment in bar:
        rest = [velocity for number, velocity in moment if number != BASS]
        assert rest == sorted(rest, reverse=True)
    assert len(bar) == 4
    accented = [number for number, _ in bar[0]]
    assert set(accented) == {BASS, HIHAT, CLICK_1}


def test_the_bass_drum_is_first_whatever_its_number() -> None:
    from dataclasses import replace

    plain = Concert({"sticking": "RLRL", "feet": "1"})
    assert plain.kit
    voices = {voice: 24 if number == BASS else number for voice, number in plain.kit.notes.items()}
    kit = replace(plain.kit, notes=voices)
    concert = Concert({"sticking": "RLRL", "feet": "1"}, kit=kit)
    concert.play()
    downbeat = concert.wire.ons()[4:7]
    assert len({at for at, _ in downbeat}) == 1
    assert downbeat[0][1] == 24


def test_a_note_that_is_struck_again_is_ended_before() -> None:
    # Sixteenths at 250: 60 ms apart; each note ends no later than the same note begins again.
    concert = Concert({"sticking": "RR", "steps": 4, "tempos": "300", "click": "off"})
    concert.play()
    sounding: set[int] = set()
    for message in concert.wire.messages:
        if message[0] == 0x99:
            assert message[1] not in sounding
            sounding.add(message[1])
        elif message[0] == 0x89:
            sounding.discard(message[1])
    assert not sounding


def test_every_note_is_ended_within_a_tenth_of_a_second() -> None:
    concert = Concert(FOUR)
    concert.play()
    began: dict[int, int] = {}
    ended = 0
    for at, message in concert.wire.came:
        if message[0] == 0x99:
            began[message[1]] = at
        elif message[0] == 0x89:
            assert 0 < at - began.pop(message[1]) <= 100 * MS
            ended += 1
    assert not began
    assert ended == len(concert.wire.ons()) == 12


def test_the_program_is_sent_first_and_the_end_is_silent() -> None:
    concert = Concert(FOUR)
    concert.play(program=17)
    assert concert.wire.messages[0] == b"\xc9\x10"
    assert concert.wire.messages[-2:] == SILENCE


def test_the_channel_is_the_players() -> None:
    concert = Concert(FOUR)
    concert.play(channel=3)
    assert {message[0] & 0x0F for message in concert.wire.messages} == {2}


# The way through


def test_a_count_in_comes_once_and_the_loop_follows_without_a_gap() -> None:
    concert = Concert(FOUR, times=3)
    concert.play()
    assert concert.numbers() == [(1, -1), (1, 0), (1, 0), (1, 0)]
    assert seconds(concert.wire.only(CLICK, CLICK_1)) == [i / 2 for i in range(16)]
    assert len(concert.wire.only(HIHAT, SNARE)) == 12


def test_the_next_exercise_follows_without_a_gap_and_counts_in() -> None:
    concert = Concert(TWO)
    concert.play()
    assert concert.numbers() == [(1, -1), (1, 0), (2, -1), (2, 0)]
    assert seconds(concert.wire.only(CLICK, CLICK_1)) == [i / 2 for i in range(16)]


def test_a_rest_lies_between_exercises_and_not_before_the_first() -> None:
    concert = Concert(TWO)
    concert.play(rest=3 * SECOND)
    clicks = seconds(concert.wire.only(CLICK, CLICK_1))
    assert clicks == [*(i / 2 for i in range(8)), *(7 + i / 2 for i in range(8))]


def test_a_late_entry_is_late_the_first_time_only() -> None:
    # Placed a beat late: the first time the hands come in on 2, from then on the loop is whole.
    concert = Concert({**FOUR, "placements": "+1", "entry": "late"}, times=3)
    concert.play()
    assert [bar for _, bar in concert.numbers()] == [-1, 0, 1, 1, 1]
    begin = concert.wire.only(CLICK, CLICK_1)[0]
    strokes = [round((at - begin) / SECOND, 3) for at in concert.wire.only(HIHAT, SNARE)]
    assert strokes == [2.5 + i / 2 for i in range(15)]


def test_a_lesson_for_ever_begins_again() -> None:
    concert = Concert(TWO, forever=True)
    concert.at(17, Command.QUIT)
    concert.play()
    assert [order for order, _ in concert.numbers()] == [1, 1, 2, 2, 1, 1, 2, 2, 1]


def test_an_exercise_for_ever_goes_on_until_somebody_quits() -> None:
    concert = Concert(FOUR, times=0)
    concert.at(100.25, Command.QUIT)
    concert.play()
    assert len(concert.wire.only(CLICK, CLICK_1)) == 201
    assert concert.wire.messages[-2:] == SILENCE


def flams(concert: Concert) -> list[float]:
    """When grace notes (General MIDI snare, softer than the stroke) sound, from the first click."""
    assert concert.kit
    soft = concert.kit.velocities["grace"]
    clicks = concert.wire.only(CLICK, CLICK_1)
    return [
        round((at - clicks[0]) / SECOND, 3)
        for at, m in concert.wire.came
        if m[0] == 0x99 and m[1] == SNARE and m[2] == soft
    ]


def test_a_flam_leads_over_the_seam_but_not_after_the_last_time() -> None:
    # A flam on every beat, its grace note 30 ms before.
    concert = Concert({"sticking": "flam", "stages": "hands"}, times=2)
    concert.play()
    assert flams(concert) == [round(2 + i / 2 - 0.03, 3) for i in range(8)]


def test_a_flam_on_the_very_first_stroke_has_no_grace_note_without_a_count_in() -> None:
    concert = Concert({"sticking": "flam", "stages": "hands", "count_in": 0}, times=2)
    concert.play()
    assert flams(concert) == [round(i / 2 - 0.03, 3) for i in range(1, 8)]


def test_no_stroke_is_lost_where_unevenness_puts_it_before_the_bar_line() -> None:
    # Whatever the seed, each of three times round has its four strokes.
    for seed in range(1, 9):
        humanise = {"timing": 8, "seed": seed}
        concert = Concert({**FOUR, "humanise": humanise}, times=3)
        concert.play()
        assert len(concert.wire.only(HIHAT, SNARE)) == 12, f"seed {seed}"


# Wishes


def test_next_comes_at_the_bar_line() -> None:
    concert = Concert(TWO, times=8)
    concert.at(2.7, Command.NEXT)
    concert.at(9, Command.QUIT)
    concert.play()
    assert concert.numbers()[:4] == [(1, -1), (1, 0), (2, -1), (2, 0)]
    assert seconds(concert.wire.only(CLICK, CLICK_1))[:12] == [i / 2 for i in range(12)]


def test_previous_goes_back_and_stays_at_the_first() -> None:
    concert = Concert(TWO, times=8)
    concert.at(0.7, Command.NEXT)
    concert.at(2.7, Command.PREVIOUS)
    concert.at(4.7, Command.PREVIOUS)
    concert.at(7, Command.QUIT)
    concert.play()
    assert concert.numbers() == [(1, -1), (2, -1), (1, -1), (1, -1)]


def test_again_begins_the_exercise_again_and_all_its_times() -> None:
    concert = Concert(FOUR, times=2)
    concert.at(4.7, Command.AGAIN)  # in the second time
    concert.play()
    assert concert.numbers() == [(1, -1), (1, 0), (1, 0), (1, -1), (1, 0), (1, 0)]
    assert [place.time for _, place in concert.bars] == [1, 1, 2, 1, 1, 2]


def test_next_after_the_last_ends_the_lesson() -> None:
    concert = Concert(FOUR, times=0)
    concert.at(2.7, Command.NEXT)
    concert.play()
    assert concert.numbers() == [(1, -1), (1, 0)]
    assert concert.wire.messages[-2:] == SILENCE


@pytest.mark.parametrize(("wish", "tempo"), [(Command.SLOWER, 118), (Command.FASTER, 122)])
def test_the_tempo_changes_at_the_bar_line_and_is_counted_in(wish: Command, tempo: int) -> None:
    concert = Concert(FOUR, times=3)
    concert.at(2.7, wish)
    concert.play()
    clicks = concert.wire.only(CLICK, CLICK_1)
    gaps = [round((b - a) / 1000) for a, b in pairwise(clicks)]
    quarter = 60_000_000 / tempo
    assert len(gaps) == 19
    assert all(abs(gap - 500_000) <= 60 for gap in gaps[:8])
    assert all(abs(gap - quarter) <= 60 for gap in gaps[8:])


def test_a_changed_tempo_is_of_its_own_exercise_only() -> None:
    concert = Concert(TWO, times=2)
    concert.at(0.7, Command.FASTER)
    concert.play()
    assert tempos_played(concert) == [(1, 120), *[(1, 122)] * 3, (2, 120), (2, 120), (2, 120)]


def tempos_played(concert: Concert) -> list[tuple[int, Fraction]]:
    return [(place.playable.exercise.number.piece, place.bar.tempo) for _, place in concert.bars]


def test_a_chosen_exercise_comes_at_the_bar_line_at_the_chosen_tempo() -> None:
    concert = Concert(TWO, times=0)
    concert.at(0.7, Chosen(1, Fraction(150)))
    concert.at(3.7, Chosen(0))
    concert.at(6, Command.QUIT)
    concert.play()
    assert tempos_played(concert) == [(1, 120), (2, 150), (2, 150), (1, 120)]


def test_a_chosen_tempo_is_counted_in_and_one_that_nobody_plays_is_not_taken() -> None:
    concert = Concert(FOUR, times=3)
    concert.at(2.7, Chosen(tempo=Fraction(60)))
    concert.at(9.7, Chosen(tempo=Fraction(9)))
    concert.play()
    assert tempos_played(concert) == [(1, 120), (1, 120), (1, 60), (1, 60), (1, 60)]
    assert concert.numbers()[2] == (1, -1)


def test_what_is_chosen_before_it_begins_is_what_it_begins_with() -> None:
    concert = Concert(TWO)
    concert.route.begin_with(Chosen(1, Fraction(90)))
    concert.play()
    assert tempos_played(concert) == [(2, 90), (2, 90)]


def test_an_exercise_that_is_chosen_ends_a_pause() -> None:
    concert = Concert(TWO, times=0)
    concert.at(0.7, Command.PAUSE)
    concert.at(1.7, Chosen(1))
    concert.at(3.7, Command.QUIT)
    concert.play()
    assert concert.numbers()[:2] == [(1, -1), (2, -1)]


def test_an_exercise_that_is_come_back_to_has_its_changed_tempo_again() -> None:
    concert = Concert(TWO, times=0)
    for i, wish in enumerate((Command.SLOWER, Command.NEXT, Command.FASTER, Command.PREVIOUS)):
        concert.at(0.7 + 2 * i, wish)
    concert.at(9, Command.QUIT)
    concert.play()
    assert tempos_played(concert) == [(1, 120), (1, 118), (2, 120), (2, 122), (1, 118)]


@pytest.mark.parametrize(
    ("drill", "bars"),
    [
        ({"sticking": "RLRL"}, 4),  # a bar
        ({"sticking": "RLRLRLRLRLRR"}, 6),  # of three bars: two times round
        ({"sticking": "RLRLR"}, 5),  # of five
        ({"sticking": "RLRL", "placements": "+1", "entry": "late"}, 4),  # the first bar once
    ],
)
def test_where_nobody_says_how_often_an_exercise_lasts_four_bars_at_least(
    drill: dict[str, Any], bars: int
) -> None:
    concert = Concert(drill)
    concert.route = Route(concert.exercises, concert._make)
    concert.play()
    assert len([number for _, number in concert.numbers() if number >= 0]) == bars
    assert concert.numbers()[-1][1] == concert.exercises[0].bars - 1  # to its end


@pytest.mark.parametrize(
    ("keys", "times"),
    [
        ({}, [4, 4]),
        ({"repeats": 2}, [1, 1]),
        ({"running": "2 repeats 3, 1"}, [1, 4]),
        ({"repeats": 2, "running": "2 repeats 1, 1"}, [4, 1]),
    ],
)
def test_a_drill_that_repeats_an_exercise_says_how_often(
    keys: dict[str, Any], times: list[int]
) -> None:
    drill = midiforge.check_drill({**TWO, "stages": "full", "tempos": "120", "steps": 1, **keys})
    exercises = list(midiforge.exercises(drill))
    assert list(map(rounds(), exercises)) == times
    assert list(map(rounds(3), exercises)) == [3, 3]


def test_faster_past_the_limit_is_not_saved_up() -> None:
    concert = Concert({**FOUR, "tempos": "300"}, times=0)
    for i in range(120):
        concert.at(1 + i / 100, Command.FASTER)
    for i in range(10):
        concert.at(120 + i, Command.SLOWER)
    concert.at(140, Command.QUIT)
    concert.play()
    tempos = [place.bar.tempo for _, place in concert.bars]
    assert max(tempos) == 500
    assert tempos[-1] == 480


def counted(concert: Concert) -> list[tuple[int, Fraction]]:
    """The bars and their tempos; those below 0 count in."""
    return [(place.bar.number, place.bar.tempo) for _, place in concert.bars]


def test_a_pause_is_counted_in_for_as_long_as_the_drill_says_but_a_bar_at_least() -> None:
    for count_in, before in ((0, [-1]), (1, [-1]), (2, [-2, -1])):
        concert = Concert({**FOUR, "count_in": count_in}, times=3)
        concert.at(2 * count_in + 0.7, Command.PAUSE)
        concert.at(2 * count_in + 30, Command.PAUSE)
        concert.play()
        own = [-2, -1][2 - count_in :]
        assert [n for n, _ in counted(concert)] == [*own, 0, *before, 0, 0, 0]


def test_nothing_but_the_click_sounds_while_a_pause_is_counted_in() -> None:
    concert = Concert({**FOUR, "feet": "1 3"}, times=3)
    concert.at(2.7, Command.PAUSE)
    concert.at(30, Command.PAUSE)
    concert.play()
    begin = next(
        at
        for at, place in concert.bars
        if place.bar.number < 0 and at > concert.start + 20 * SECOND
    )
    ons = [number for at, number in concert.wire.ons() if begin <= at < begin + 2 * SECOND]
    assert ons == [CLICK_1, CLICK, CLICK, CLICK]


def test_more_presses_while_a_tempo_is_counted_in_are_counted_in_at_the_newest() -> None:
    concert = Concert(FOUR, times=3)
    concert.at(2.7, Command.FASTER)
    concert.at(4.5, Command.FASTER)  # in the count-in
    concert.at(5.1, Command.FASTER)
    concert.play()
    assert counted(concert) == [(-1, 120), (0, 120), (-1, 122), (-1, 126), (0, 126), (0, 126)]


def test_an_exercise_that_is_gone_on_to_while_counting_in_has_its_own_count_in_alone() -> None:
    concert = Concert(TWO, times=2)
    concert.at(2.7, Command.FASTER)
    concert.at(4.5, Command.NEXT)
    concert.play()
    assert [(piece, n) for piece, n in concert.numbers()] == [
        (1, -1), (1, 0), (1, -1), (2, -1), (2, 0), (2, 0),
    ]  # fmt: skip


def test_a_pause_in_the_count_in_after_a_pause_is_counted_in_again() -> None:
    concert = Concert(FOUR, times=2)
    for at in (2.7, 30, 31, 50):
        concert.at(at, Command.PAUSE)
    concert.play()
    assert [n for n, _ in counted(concert)] == [-1, 0, -1, -1, 0, 0]


def test_at_the_slowest_and_fastest_tempo_nothing_is_counted_in_for_nothing() -> None:
    concert = Concert({**FOUR, "tempos": "500"}, times=3)
    concert.at(0.7, Command.FASTER)
    concert.play()
    assert [n for n, _ in counted(concert)] == [-1, 0, 0, 0]


def test_wishes_that_come_together_are_met_at_one_bar_line() -> None:
    concert = Concert(FOUR, times=4)
    for _ in range(5):
        concert.at(2.7, Command.FASTER)
    concert.play()
    assert [place.bar.tempo for _, place in concert.bars] == [120, 120, 130, 130, 130, 130]


def test_a_layer_is_muted_at_once_and_comes_back_at_once() -> None:
    concert = Concert(FOUR, times=2)
    concert.at(2.7, Command.HANDS)  # after the second stroke
    concert.at(4.7, Command.HANDS)  # after the second stroke of the second time
    concert.play()
    begin = concert.wire.only(CLICK, CLICK_1)[0]
    strokes = [round((at - begin) / SECOND, 3) for at in concert.wire.only(HIHAT, SNARE)]
    assert strokes == [2.0, 2.5, 5.0, 5.5]
    assert len(concert.wire.only(CLICK, CLICK_1)) == 12


@pytest.mark.parametrize(
    ("muted", "silent"),
    [("hands", {HIHAT, SNARE}), ("feet", {BASS}), ("click", {CLICK, CLICK_1})],
)
def test_a_layer_that_is_muted_is_silent_and_the_others_are_not(
    muted: str, silent: set[int]
) -> None:
    concert = Concert({**FOUR, "feet": "1 3"})
    concert.play(muted={muted})
    heard = {number for _, number in concert.wire.ons()}
    assert heard == {HIHAT, SNARE, BASS, CLICK, CLICK_1} - silent


def test_a_pause_is_silent_and_the_same_bar_is_counted_in() -> None:
    concert = Concert(FOUR, times=2)
    concert.at(2.52, Command.PAUSE)  # while the second stroke sounds
    concert.at(60, Command.PAUSE)
    concert.play()
    assert concert.numbers() == [(1, -1), (1, 0), (1, -1), (1, 0), (1, 0)]
    begin = concert.wire.only(CLICK, CLICK_1)[0]
    before = [(at, m) for at, m in concert.wire.came if at < begin + 50 * SECOND]
    assert hanging(m for _, m in before) == set()
    assert [m for _, m in before][-2:] == SILENCE
    assert before[-1][0] - begin < 2.6 * SECOND
    clicks = [(at - begin) / SECOND for at in concert.wire.only(CLICK, CLICK_1)]
    assert clicks[6] > 60
    assert seconds(concert.wire.only(CLICK, CLICK_1)[6:]) == [i / 2 for i in range(12)]


def test_next_ends_a_pause() -> None:
    concert = Concert(TWO, times=4)
    concert.at(2.7, Command.PAUSE)
    concert.at(10, Command.NEXT)
    concert.at(13, Command.QUIT)
    concert.play()
    assert concert.numbers() == [(1, -1), (1, 0), (2, -1), (2, 0)]


def test_one_can_quit_in_a_pause() -> None:
    concert = Concert(FOUR, times=0)
    concert.at(2.52, Command.PAUSE)
    concert.at(10, Command.QUIT)
    concert.play()
    assert hanging(concert.wire.messages) == set()
    assert concert.wire.messages[-2:] == SILENCE


class Crowd:
    """A wish that somebody else asks for something during, whenever it is looked at."""

    value = "nothing"

    def __init__(self, wish: Callable[[Command], None]) -> None:
        self.wish = wish
        self.more = [Command.FASTER, Command.NEXT]

    def __eq__(self, other: object) -> bool:
        return hash(self) == hash(other)

    def __hash__(self) -> int:
        if self.more and self.wish.__self__.paused:  # type: ignore[attr-defined]
            self.wish(self.more.pop(0))
        return id(self)


def test_what_a_pad_asks_for_while_wishes_are_looked_at_is_taken_too() -> None:
    # The driver's thread asks at any time, such as between two looks at one wish.
    concert = Concert(TWO)
    player = concert.player()
    concert.at(2.7, Command.PAUSE)
    concert.at(2.8, lambda: player.wish(Crowd(player.wish)))  # type: ignore[arg-type]
    player.play()
    assert concert.numbers()[:4] == [(1, -1), (1, 0), (2, -1), (2, 0)]


def test_a_pause_after_the_rest_does_not_rest_again() -> None:
    concert = Concert(TWO)
    concert.at(14.7, Command.PAUSE)  # in the second exercise's count-in, after ten seconds of rest
    concert.at(16, Command.PAUSE)
    concert.play(rest=10 * SECOND)
    begin = concert.wire.came[0][0]
    assert [round((at - begin) / SECOND) for at, _ in concert.bars[-2:]] == [16, 18]


def test_quit_ends_within_a_moment_and_leaves_nothing_sounding() -> None:
    concert = Concert(FOUR, times=0)
    concert.at(2.501, Command.QUIT)
    concert.play()
    at, last = concert.wire.came[-1]
    assert last == SILENCE[-1]
    assert at - concert.wire.only(CLICK, CLICK_1)[0] < 2.55 * SECOND
    assert hanging(concert.wire.messages) == set()


class Later(Executor):
    """Does what it is asked for when told to; counts who had to wait for it."""

    def __init__(self) -> None:
        self.asked: list[Callable[[], None]] = []
        self.waited_for = 0

    def submit(self, fn: Callable[..., Any], /, *args: Any, **keys: Any) -> "Future[Any]":
        future = Awaited(self)
        self.asked.append(lambda: None if future.done() else future.set_result(fn(*args, **keys)))
        return future

    def work(self) -> None:
        while self.asked:
            self.asked.pop(0)()


class Awaited(Future[Any]):
    def __init__(self, owner: Later) -> None:
        super().__init__()
        self.owner = owner

    def result(self, timeout: float | None = None) -> Any:
        if not self.done():
            self.owner.waited_for += 1
            self.owner.work()
        return super().result(timeout)


def test_music_that_is_not_ready_does_not_hold_up_the_bar() -> None:
    later = Later()
    concert = Concert(FOUR, times=4, executor=later)
    later.work()
    concert.at(0.7, Command.FASTER)  # asked for in the count-in, made in the third bar
    concert.at(4.7, later.work)
    concert.play()
    assert [place.bar.tempo for _, place in concert.bars] == [120, 120, 120, 122, 122, 122]


def test_the_exercise_that_follows_is_made_ahead_after_a_change_of_tempo_too() -> None:
    later = Later()
    concert = Concert(TWO, times=3, executor=later)
    concert.at(0.5, later.work)
    concert.at(0.7, Command.FASTER)
    for i in range(1, 60):
        concert.at(1 + i / 10, later.work)
    concert.play()
    assert [place.bar.tempo for _, place in concert.bars][1:] == [122] * 4 + [120] * 4
    assert later.waited_for == 1  # the very first


# Beat clock


SOON = 100_000  # a few looks at the clock


def clocks(wire: Wire) -> list[int]:
    return [at for at, message in wire.came if message == CLOCK]


def test_beat_clock_is_24_a_quarter_in_step_with_the_notes() -> None:
    concert = Concert({**FOUR, "tempos": "97"}, times=3)
    concert.play(send_clock=True)
    sent = clocks(concert.wire)
    assert len(sent) == 24 * 16
    clicks = concert.wire.only(CLICK, CLICK_1)
    # The clock of a beat is sent with its notes, before them.
    assert all(0 < at - clock <= SOON for clock, at in zip(sent[::24], clicks, strict=True))
    for i, at in enumerate(sent):
        assert abs(at - sent[0] - i * Fraction(60 * SECOND, 97 * 24)) <= SOON


def test_a_clock_comes_before_the_triplet_that_it_falls_on() -> None:
    concert = Concert({"sticking": "RLR", "steps": 3, "tempos": "97"}, times=9)
    concert.play(send_clock=True)
    sent = clocks(concert.wire)
    strokes = concert.wire.only(HIHAT, SNARE)
    assert all(0 < at - clock <= SOON for clock, at in zip(sent[96::8], strokes, strict=True))


@pytest.mark.parametrize("meter", ["7/8", "5/16", "3/4"])
def test_beat_clock_goes_on_evenly_over_any_bar_line(meter: str) -> None:
    concert = Concert({"sticking": "RL", "meter": meter, "tempos": "60"}, times=5)
    concert.play(send_clock=True)
    sent = clocks(concert.wire)
    pulse = concert.exercises[0].tempo.pulse
    gap = Fraction(SECOND, 24) / pulse
    assert len(sent) == 24 * (concert.exercises[0].count_in + 5 * concert.exercises[0].length)
    for i, at in enumerate(sent):
        assert abs(at - sent[0] - i * gap) <= SOON


def test_it_starts_once_and_stops_at_the_end() -> None:
    concert = Concert(FOUR, times=2)
    concert.play(send_clock=True)
    real_time = [m for m in concert.wire.messages if m[0] >= 0xF0 and m != CLOCK]
    assert real_time == [START, STOP]
    assert concert.wire.messages.index(START) + 1 == concert.wire.messages.index(CLOCK)
    assert concert.wire.messages[-1] == STOP


def test_a_pause_stops_the_clock_and_goes_on_from_the_bar_line() -> None:
    concert = Concert(FOUR, times=4)
    concert.at(4.7, Command.PAUSE)  # in the third bar, 8 quarter notes after the start
    concert.at(20, Command.PAUSE)
    concert.play(send_clock=True)
    real_time = [m for m in concert.wire.messages if m[0] >= 0xF0 and m != CLOCK]
    # Song position counts sixteenths in two bytes of seven bits, the lesser first: 8 * 4 = 32.
    assert real_time == [START, STOP, b"\xf2\x20\x00", CONTINUE, STOP]
    begin = concert.wire.came[0][0]
    assert not [at for at in clocks(concert.wire) if 4.75 < (at - begin) / SECOND < 20]


def test_a_rest_stops_the_clock() -> None:
    # A clock that falls silent for seconds without a stop looks like a very slow tempo.
    concert = Concert(TWO)
    concert.play(send_clock=True, rest=5 * SECOND)
    real_time = [m for m in concert.wire.messages if m[0] >= 0xF0 and m != CLOCK]
    assert real_time == [START, STOP, b"\xf2\x20\x00", CONTINUE, STOP]


def test_the_song_position_of_a_long_session_stays_within_fourteen_bits() -> None:
    from midiforge.live.clock.beat_clock import song_position

    for quarters in (0, 1, 4095, 4096, 100_000):
        message = song_position(Fraction(quarters))
        assert message[0] == 0xF2 and len(message) == 3
        assert all(byte < 0x80 for byte in message[1:])
    assert song_position(Fraction(33, 2)) == b"\xf2\x42\x00"  # 66 sixteenths
    assert song_position(Fraction(50)) == b"\xf2\x48\x01"  # 200 = 1 * 128 + 72


# Faults


@pytest.mark.parametrize("asleep_at", [2.7, 3.9])
def test_a_machine_that_slept_an_hour_plays_nothing_late(asleep_at: float) -> None:
    concert = Concert(FOUR, times=4)
    concert.at(asleep_at, lambda: concert.clock.jump(HOUR))
    figures = concert.play(send_clock=True)
    ons = concert.wire.ons()
    begin = ons[0][0]
    after = [(at - begin) / SECOND - 3600 for at, _ in ons if at - begin > HOUR]
    # It goes on at a bar's beginning, a tenth of a second after it woke up or one bar later.
    assert after[0] < asleep_at + 0.5
    assert ons[[at for at, _ in ons].index(begin + round((after[0] + 3600) * SECOND))][1] in (
        CLICK_1,
        HIHAT,
    )
    clicks = [at for at in concert.wire.only(CLICK, CLICK_1) if at - begin > HOUR]
    assert seconds(clicks) == [i / 2 for i in range(len(clicks))]
    assert len(clicks) in (12, 16)  # counted in
    assert figures.worst < 1000  # microseconds: what was left out does not count as late
    assert [text for _, text in concert.said]
    assert hanging(concert.wire.messages) == set()
    assert CONTINUE in concert.wire.messages


def test_a_note_that_sounded_when_the_machine_slept_is_ended_when_it_wakes() -> None:
    concert = Concert(FOUR, times=2)
    concert.at(2.51, lambda: concert.clock.jump(HOUR))
    concert.play()
    wakes = next(i for i, (at, _) in enumerate(concert.wire.came) if at - concert.start > HOUR)
    first_on = next(i for i, m in enumerate(concert.wire.messages[wakes:]) if m[0] == 0x99)
    assert hanging(concert.wire.messages[: wakes + first_on]) == set()


def test_a_machine_that_slept_in_a_pause_just_goes_on() -> None:
    concert = Concert(FOUR, times=2)
    concert.at(2.7, Command.PAUSE)
    concert.at(3, lambda: concert.clock.jump(HOUR))
    concert.at(3700, Command.PAUSE)
    concert.play()
    assert len(concert.wire.only(CLICK, CLICK_1)) == 4 + 2 + 4 + 8
    assert not concert.said


def test_what_a_hiccup_of_a_tenth_of_a_second_makes_late_is_left_out() -> None:
    concert = Concert(FOUR)
    concert.at(2.45, lambda: concert.clock.jump(150 * MS))
    figures = concert.play()
    clicks = seconds(concert.wire.only(CLICK, CLICK_1))
    assert clicks == [0, 0.5, 1, 1.5, 2, 3, 3.5]
    assert 50_000 < figures.worst < 150_000


def unplug(concert: Concert, plugged: bool) -> Callable[[], None]:
    def change() -> None:
        concert.wire.plugged = plugged

    return change


def test_a_port_that_goes_in_mid_bar_is_waited_for_and_the_next_bar_played() -> None:
    concert = Concert(FOUR, times=4)
    concert.at(2.52, unplug(concert, False))
    concert.at(31, unplug(concert, True))
    concert.play()
    begin = concert.wire.came[0][0]
    assert len(concert.said) == 2
    (gone_at, gone), (back_at, back) = concert.said
    assert "gone" in gone and "back" in back
    assert (gone_at - begin) / SECOND < 3.1
    assert 31 <= (back_at - begin) / SECOND < 32
    assert concert.wire.tried > 20
    assert concert.numbers() == [(1, -1), (1, 0), (1, -1), (1, 0), (1, 0), (1, 0)]
    clicks = concert.wire.only(CLICK, CLICK_1)
    after = [at for at in clicks if (at - begin) / SECOND > 30]
    assert (after[0] - back_at) / MS < 200
    assert seconds(after) == [i / 2 for i in range(16)]
    assert concert.wire.messages[-2:] == SILENCE


def test_nothing_hangs_on_a_module_that_was_unplugged_and_kept_its_power() -> None:
    concert = Concert({**FOUR, "feet": "2"}, times=2)
    concert.at(2.52, unplug(concert, False))  # bass drum, snare and click sound
    concert.at(31, unplug(concert, True))
    concert.play()
    begin = concert.wire.came[0][0]
    back = next(i for i, (at, _) in enumerate(concert.wire.came) if at - begin > 30 * SECOND)
    first_on = next(i for i, m in enumerate(concert.wire.messages[back:]) if m[0] == 0x99)
    assert hanging(concert.wire.messages[: back + first_on]) == set()


def test_a_module_that_comes_back_is_told_its_program_again() -> None:
    concert = Concert(FOUR, times=2)
    concert.at(2.52, unplug(concert, False))
    concert.at(31, unplug(concert, True))
    concert.play(program=17)
    assert concert.wire.messages.count(b"\xc9\x10") == 2


def test_one_can_quit_while_the_port_is_gone() -> None:
    concert = Concert(FOUR, times=0)
    concert.at(2.52, unplug(concert, False))
    concert.at(50, Command.QUIT)
    concert.play()
    assert concert.clock.at - concert.start < 51 * SECOND


def test_the_clock_goes_on_with_continue_when_the_port_is_back() -> None:
    concert = Concert(FOUR, times=3)
    concert.at(2.52, unplug(concert, False))
    concert.at(31, unplug(concert, True))
    concert.play(send_clock=True)
    real_time = [m[:1] for m in concert.wire.messages if m[0] >= 0xF0 and m != CLOCK]
    assert [m for m in real_time if m != STOP] + [STOP] == [START, b"\xf2", CONTINUE, STOP]


def fails(what: BaseException) -> Callable[..., None]:
    def fail(*_: object) -> None:
        raise what

    return fail


def ended(wire: Wire) -> None:
    """Every note, then all sound, then the clock."""
    assert hanging(wire.messages) == set()
    assert wire.messages[-3:] == [*SILENCE, STOP]


@pytest.mark.parametrize("error", [RuntimeError, KeyboardInterrupt, SystemExit])
@pytest.mark.parametrize("where", ["bar", "moment", "idle"])
def test_an_error_in_a_display_ends_every_note(where: str, error: type[BaseException]) -> None:
    concert = Concert({**FOUR, "feet": "1"}, times=0)
    player = concert.player(send_clock=True)
    concert.at(4.002, lambda: setattr(player.watcher, where, fails(error())))
    with pytest.raises(error):
        player.play()
    ended(concert.wire)


def test_an_interrupt_right_after_any_message_ends_every_note() -> None:
    # A signal comes between any two steps: here just after a message has gone out.
    for message in range(150, 190):
        concert = Concert({**FOUR, "feet": "1", "tempos": "250"}, times=0)
        concert.wire.after = fails_at(message)
        with pytest.raises(KeyboardInterrupt):
            concert.play(send_clock=True)
        ended(concert.wire)


def fails_at(message: int) -> Callable[[bytes], None]:
    """Raises once so many messages have gone out."""
    left = message

    def after(_: bytes) -> None:
        nonlocal left
        left -= 1
        if left == 0:
            raise KeyboardInterrupt

    return after


def test_an_output_that_fails_once_is_still_silenced() -> None:
    concert = Concert(FOUR, times=0)
    done = False

    def after(message: bytes) -> None:
        nonlocal done
        if message[0] == 0x99 and message[1] == SNARE and not done:
            done = True
            raise OSError("the driver has had enough")

    concert.wire.after = after
    with pytest.raises(OSError, match="had enough"):
        concert.play(send_clock=True)
    ended(concert.wire)


def test_a_failure_while_the_notes_are_ended_does_not_keep_the_rest_from_being_sent() -> None:
    concert = Concert({**FOUR, "feet": "1"}, times=0)
    done = False

    def after(message: bytes) -> None:
        nonlocal done
        if message[0] == 0x89 and concert.clock.at > quits and not done:
            done = True
            raise OSError("for a moment")

    quits = concert.start + player_module.LEAD + round(2.01 * SECOND)
    concert.at(2.01, Command.QUIT)
    concert.wire.after = after
    try:
        concert.play(send_clock=True)
    except OSError:
        assert done
    ended(concert.wire)


def test_an_interrupt_while_a_pause_silences_leaves_nothing_sounding() -> None:
    concert = Concert({**FOUR, "feet": "1"}, times=0)
    paused = concert.start + player_module.LEAD + round(2.01 * SECOND)
    done = False

    def after(message: bytes) -> None:
        nonlocal done
        if message[0] == 0x89 and concert.clock.at > paused and not done:
            done = True
            raise KeyboardInterrupt

    concert.at(2.01, Command.PAUSE)
    concert.wire.after = after
    with pytest.raises(KeyboardInterrupt):
        concert.play(send_clock=True)
    assert hanging(concert.wire.messages) == set()
    assert STOP in concert.wire.messages[-3:]
    assert concert.wire.messages[-2:] == SILENCE


# Rests after single exercises


def test_a_rest_after_an_exercise_is_kept_to_the_beat_that_is_counted_in() -> None:
    concert = Concert(TWO)
    first = concert.exercises[0].number
    concert.play(rests={first: 90})
    clicks = seconds(concert.wire.only(CLICK, CLICK_1))
    # Two bars of four at 120, then the rest, then as much again.
    assert clicks[:8] == [i / 2 for i in range(8)]
    assert clicks[8] == pytest.approx(4 + 90, abs=0.2)
    assert [text for _, text in concert.said] == ["rest 1:30; n goes on", ""]


def test_a_rest_ends_when_somebody_wishes_to_go_on() -> None:
    concert = Concert(TWO)
    concert.at(20, Command.NEXT)
    concert.play(rests={concert.exercises[0].number: 90})
    clicks = seconds(concert.wire.only(CLICK, CLICK_1))
    assert clicks[8] == pytest.approx(20, abs=0.3)
    assert {piece for piece, _ in concert.numbers()} == {1, 2}
