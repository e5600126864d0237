"""The band, live: bass and comp on channels of their own.

Where a tone is due is worked out here from the drill's own numbers (a quarter note at 120 lasts
0.5 s). MIDI bytes: MIDI 1.0 Detailed Specification (note off 8n, note on 9n, program Cn,
controllers 120 and 123 of each channel). Notes and programs: General MIDI (10 is the channel of
percussion, 36 the bass drum, 75 claves; program 33 is a finger bass, 1 a piano).
"""

import os
import re
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
from jack import PATIENCE, Receiver, Server
from test_live_player import CLICK, CLICK_1, MS, SECOND, Concert, Wire

import midiforge
from midiforge.errors import MidiforgeError
from midiforge.kits.kit import Kit, read_kit
from midiforge.live.clock.sync_source import FollowedClock
from midiforge.live.playing.bars import PlayableExercise, playable
from midiforge.live.playing.controls import Command
from midiforge.live.playing.layers import LAYERS, Levels, read_layers, read_levels, scaled
from midiforge.live.playing.route import Route, always
from midiforge.live.screen.chords import Chords
from midiforge.live.screen.display import Display
from midiforge.live.screen.letters import large
from midiforge.model.band import ChordMark, Member, Tone

BASS, PIANO = Member("low", "bass", "Bass", 2, 33), Member("keys", "comp", "Piano", 3, 1)
START, STOP = b"\xfa", b"\xfc"
OFF = {
    each: [bytes((0xB0 | each - 1, 120, 0)), bytes((0xB0 | each - 1, 123, 0))]
    for each in (2, 3, 10)
}


def tone(time: Any, length: Any, pitch: int, track: str = "low", velocity: int = 90) -> Tone:
    return Tone(Fraction(time), Fraction(length), pitch, velocity, track)


# Two bars of four at 120 after a bar of count-in: a bar lasts 2 s.
EIGHT = {"sticking": "RLRLRLRR"}
TONES = (
    tone(0, 2, 36),  # the number of a bass drum
    tone(0, 4, 60, "keys"),
    tone(0, 4, 64, "keys"),
    tone(2, 3, 43),  # over the bar line
    tone(5, 3, 38),  # to the end
)


@dataclass
class Band(Concert):
    """A drill with a band; `other` is where a second output leads."""

    members: tuple[Member, ...] = (BASS, PIANO)
    tones: Sequence[Tone] = TONES
    change: Callable[[midiforge.Exercise], midiforge.Exercise] = lambda each: each
    band_kit: Kit | None = None

    def __post_init__(self) -> None:
        super().__post_init__()
        self.exercises = [
            self.change(each.changed(band=self.members, tones=tuple(self.tones)))
            for each in self.exercises
        ]
        self.route = Route(
            self.exercises, self._make, always(self.times), self.forever, self.executor
        )
        self.other = Wire(self.clock)

    def _make(self, exercise: midiforge.Exercise, faster: Fraction) -> PlayableExercise:
        assert self.kit
        return playable(exercise, self.kit, faster, self.band_kit)


@dataclass(frozen=True)
class Span:
    """A tone that sounded, in seconds from the first click."""

    begin: float
    length: float
    pitch: int


def spans(wire: Wire, channel: int, zero: int | None = None) -> list[Span]:
    """What sounded on a channel; every note on must have found its note off."""
    zero = wire.only(CLICK, CLICK_1)[0] if zero is None else zero
    began: dict[int, int] = {}
    found = []
    for at, message in wire.came:
        if message[0] == 0x90 | channel - 1:
            assert message[1] not in began, "struck again without a note off"
            began[message[1]] = at
        elif message[0] == 0x80 | channel - 1 and message[1] in began:
            begin = began.pop(message[1])
            found.append(Span((begin - zero) / SECOND, (at - begin) / SECOND, message[1]))
    assert not began, f"hanging: {began}"
    return sorted(found, key=lambda each: (each.begin, each.pitch))


def same(found: Sequence[Span], expected: Sequence[tuple[float, float, int]]) -> None:
    """Each begins within 1 ms and is as long within 3."""
    assert [each.pitch for each in found] == [pitch for _, _, pitch in expected]
    for span, (begin, length, _) in zip(found, expected, strict=True):
        assert span.begin == pytest.approx(begin, abs=0.001)
        assert span.length == pytest.approx(length, abs=0.003)


def hanging(messages: Sequence[bytes]) -> set[tuple[int, int]]:
    """Channel and number of what sounds after the messages, controllers not counted."""
    sounding: set[tuple[int, int]] = set()
    for message in messages:
        key = (message[0] & 0x0F, message[1] if len(message) > 1 else 0)
        if message[0] & 0xF0 == 0x90 and message[2]:
            sounding.add(key)
        elif message[0] & 0xF0 == 0x80:
            sounding.discard(key)
    return sounding


# Tones and how long they last


def test_tones_sound_on_the_channels_of_their_players_as_long_as_they_are_written() -> None:
    band = Band(EIGHT)
    band.play()
    same(spans(band.wire, 2), [(2, 1, 36), (3, 1.5, 43), (4.5, 1.5, 38)])
    same(spans(band.wire, 3), [(2, 2, 60), (2, 2, 64)])
    assert len(band.wire.only(CLICK, CLICK_1)) == 12


def test_a_tone_over_the_bar_line_is_the_same_each_time_round() -> None:
    band = Band(EIGHT, times=3)
    band.play()
    once = [(2, 1, 36), (3, 1.5, 43), (4.5, 1.5, 38)]
    same(
        spans(band.wire, 2),
        [(at + 4 * i, long, pitch) for i in range(3) for at, long, pitch in once],
    )


def test_a_tone_over_the_seam_is_held_into_the_next_time_and_ends_with_the_exercise() -> None:
    band = Band(EIGHT, times=2, tones=[tone(7, 2, 40)])
    band.play()
    same(spans(band.wire, 2), [(5.5, 1, 40), (9.5, 0.5, 40)])


def test_a_tone_longer_than_several_bars_is_held_through_them_all() -> None:
    band = Band(EIGHT, times=4, tones=[tone(4, 15, 40)])
    band.play()
    # Struck again before its end, at 4 of the next time: ended there, then begun anew.
    same(spans(band.wire, 2), [*((4 + 4 * i, 4, 40) for i in range(3)), (16, 2, 40)])


def test_what_is_struck_again_before_its_end_is_ended_first_and_held_to_its_own_end() -> None:
    band = Band(EIGHT, tones=[tone(0, 3, 40), tone(2, 4, 40)])
    band.play()
    same(spans(band.wire, 2), [(2, 1, 40), (3, 2, 40)])


def test_a_tone_that_ends_where_the_next_begins_ends_before_it() -> None:
    # A synthesiser with one voice would else play the second bound to the first.
    band = Band(EIGHT, times=2, tones=[tone(i, 1, 40 + i) for i in range(8)])
    band.play()
    mine = [m for m in band.wire.messages if m[0] in (0x81, 0x91)]
    assert [m[0] for m in mine] == [0x91, 0x81] * 16


def test_ending_tones_does_not_make_the_next_moment_late() -> None:
    tones = [tone(i, 1, pitch, "keys") for i in range(8) for pitch in range(50, 60)]
    band = Band(EIGHT, times=2, tones=tones)
    figures = band.play()
    assert figures.worst <= 2 * band.clock.step / 1000
    offs = [at for at, m in band.wire.came if m[0] == 0x82]
    ons = [at for at, m in band.wire.came if m[0] == 0x92]
    early = [(on - off) / MS for off, on in zip(offs, ons[10:], strict=False)]
    assert min(early) > 0 and max(early) < 2


def test_tones_are_swung_at_both_ends() -> None:
    # The second of two eighths at 2:1 comes two thirds into the beat.
    swung = {**EIGHT, "swing": "2:1"}
    band = Band(swung, tones=[tone(0, Fraction(1, 2), 40), tone(Fraction(1, 2), 1, 41)])
    band.play()
    third = 0.5 / 3
    same(spans(band.wire, 2), [(2, 2 * third, 40), (2 + 2 * third, 0.5, 41)])


def test_a_tone_ends_before_another_tempo_is_counted_in() -> None:
    band = Band(EIGHT, tones=[tone(2, 4, 40)])
    band.at(3.2, Command.FASTER)
    band.play()
    same(spans(band.wire, 2), [(3, 1, 40)])


def test_a_ramp_is_followed_bar_by_bar() -> None:
    ramp = {"sticking": "RLRL", "ramp": "60 to 120 by 60 every 1 bars", "tempos": "60"}
    band = Band(ramp, tones=[tone(3, 2, 40)])
    band.play()
    same(spans(band.wire, 2), [(7, 1.5, 40)])


def test_a_tone_follows_the_clock_of_a_master_that_slows_down() -> None:
    # 24 clocks a quarter note, at 120 and from the fifth quarter note on at 60.
    band = Band({**EIGHT, "count_in": 0}, tones=[tone(0, 2, 40), tone(3, 2, 41)])
    followed = FollowedClock(lambda: band.clock.at)
    when, begin = float(band.start + SECOND), band.start + SECOND
    events: list[tuple[int, Callable[[], object]]] = []
    for clock in range(24 * 8):
        message = b"\xf8" if clock else b"\xfa"
        for each in (message, b"\xf8") if not clock else (message,):
            at = round(when)
            events.append((at, lambda each=each, at=at: followed.heard(each, at)))  # type: ignore[misc]
        when += SECOND / 48 if clock < 96 else SECOND / 24
    events.append((round(when), lambda: band.of.wish(Command.QUIT)))
    band.clock.events = events
    band.times = 0
    band.play(sync=followed, transport=followed.transport)
    found = spans(band.wire, 2, begin)[:2]
    assert [each.pitch for each in found] == [40, 41]
    assert found[0].begin == pytest.approx(0, abs=0.01)
    assert found[0].length == pytest.approx(1, abs=0.01)
    assert found[1].begin == pytest.approx(1.5, abs=0.01)
    assert found[1].length == pytest.approx(0.5 + 1, abs=0.06)  # the change is heard with a delay


def test_drums_come_before_tones_and_the_bass_before_chords() -> None:
    band = Band({**EIGHT, "feet": "1"})
    band.play()
    downbeat = next(at for at, m in band.wire.came if m[0] == 0x91)
    together = [m for at, m in band.wire.came if at == downbeat and m[0] & 0xF0 == 0x90]
    assert [m[0] & 0x0F for m in together] == [9, 9, 9, 1, 2, 2]
    assert together[0][1] == 36


# Everything ends


def middle(what: Command | None = None) -> Band:
    """A band in whose second bar a bass tone and a chord are held, and something is asked for."""
    held = [tone(0, 8, 40), tone(0, 8, 60, "keys"), tone(0, 8, 64, "keys")]
    band = Band(EIGHT, times=0, tones=held)
    if what:
        band.at(3.3, what)
    return band


@pytest.mark.parametrize("wish", [Command.PAUSE, Command.QUIT])
def test_a_pause_and_an_end_are_silent_on_every_channel_at_once(wish: Command) -> None:
    band = middle(wish)
    band.at(9, Command.QUIT)
    band.play()
    asked = band.wire.only(CLICK, CLICK_1)[0] + 3.3 * SECOND
    before = [(at, m) for at, m in band.wire.came if at < asked + 0.02 * SECOND]
    assert hanging([m for _, m in before]) == set()
    for channel in (2, 3, 10):
        assert [m for _, m in before if m in OFF[channel]] == OFF[channel]
    assert hanging(band.wire.messages) == set()


@pytest.mark.parametrize("wish", [Command.NEXT, Command.PREVIOUS, Command.AGAIN])
def test_what_is_held_ends_at_the_bar_line_where_another_exercise_begins(wish: Command) -> None:
    held = [tone(0, 8, 40), tone(0, 8, 60, "keys")]
    band = Band({**EIGHT, "placements": "0, 1"}, times=0, tones=held)
    band.at(3.3, wish)
    band.at(5, Command.QUIT)
    band.play()
    same(spans(band.wire, 2), [(2, 2, 40)])
    same(spans(band.wire, 3), [(2, 2, 60)])


def test_what_is_held_ends_before_a_rest() -> None:
    band = Band({**EIGHT, "placements": "0, 1"}, tones=[tone(6, 9, 40)])
    band.play(rest=5 * SECOND)
    same(spans(band.wire, 2), [(5, 1, 40), (5 + 6 + 5, 1, 40)])


def test_a_layer_that_is_muted_ends_at_once_and_the_others_are_held() -> None:
    band = middle(Command.CHORDS)
    band.at(5.5, Command.QUIT)
    band.play()
    same(spans(band.wire, 3), [(2, 1.3, 60), (2, 1.3, 64)])
    same(spans(band.wire, 2), [(2, 3.5, 40)])


@pytest.mark.parametrize(("layer", "channel"), [("bass", 2), ("chords", 3)])
def test_a_layer_that_is_silent_from_the_start_is_silent(layer: str, channel: int) -> None:
    band = Band(EIGHT)
    band.play(muted={layer})
    assert not spans(band.wire, channel)
    assert spans(band.wire, 5 - channel)


def test_a_machine_that_slept_leaves_nothing_held() -> None:
    band = middle()
    band.at(3.3, lambda: band.clock.jump(3600 * SECOND))
    band.at(3610, Command.QUIT)
    band.play()
    woke = next(i for i, (at, _) in enumerate(band.wire.came) if at - band.start > 3000 * SECOND)
    first_on = next(i for i, m in enumerate(band.wire.messages[woke:]) if m[0] & 0xF0 == 0x90)
    assert hanging(band.wire.messages[: woke + first_on]) == set()
    assert hanging(band.wire.messages) == set()


def test_an_interrupt_right_after_any_message_ends_every_note_on_every_channel() -> None:
    for message in range(20, 120):
        band = Band({**EIGHT, "tempos": "250"}, times=0)
        left = message

        def after(_: bytes) -> None:
            nonlocal left
            left -= 1
            if left == 0:
                raise KeyboardInterrupt

        band.wire.after = after
        with pytest.raises(KeyboardInterrupt):
            band.play(send_clock=True)
        assert hanging(band.wire.messages) == set()
        assert band.wire.messages[-1] == STOP
        assert set(OFF[2] + OFF[10]) <= set(band.wire.messages[-7:])


# Programs


def programs(wire: Wire) -> list[bytes]:
    return [m for m in wire.messages if m[0] & 0xF0 == 0xC0]


def test_each_track_gets_its_program_before_anything_sounds() -> None:
    band = Band(EIGHT, times=2)
    band.play(program=17)
    assert band.wire.messages[:3] == [b"\xc9\x10", b"\xc1\x20", b"\xc2\x00"]
    assert len(programs(band.wire)) == 3


def test_a_program_is_sent_again_only_where_an_exercise_has_another() -> None:
    other = (replace(BASS, program=34), PIANO)
    band = Band(
        {**EIGHT, "placements": "0, 1, 2"},
        change=lambda each: each.changed(band=other) if each.number.piece == 2 else each,
    )
    band.play()
    assert programs(band.wire) == [b"\xc1\x20", b"\xc2\x00", b"\xc1\x21", b"\xc1\x20"]


def test_a_port_that_comes_back_is_silenced_on_every_channel_and_told_its_programs() -> None:
    band = middle()
    band.at(3.3, lambda: setattr(band.wire, "plugged", False))
    band.at(30, lambda: setattr(band.wire, "plugged", True))
    band.at(35, Command.QUIT)
    band.play(program=17)
    back = [m for at, m in band.wire.came if at - band.start > 29 * SECOND]
    first_on = next(i for i, m in enumerate(back) if m[0] & 0xF0 == 0x90)
    before = [m for at, m in band.wire.came if at - band.start < 29 * SECOND]
    assert {(1, 40), (2, 60), (2, 64)} <= hanging(before)
    assert hanging([*before, *back[:first_on]]) == set()
    told = back[:first_on]
    assert told[-3:] == [b"\xc9\x10", b"\xc1\x20", b"\xc2\x00"]
    assert hanging(band.wire.messages) == set()


# Two outputs


CLAVE = {**EIGHT, "layers": "son-clave-3-2", "steps": 2}


def test_without_another_port_the_percussion_beside_stays_with_the_kit() -> None:
    band = Band({**CLAVE, "stages": "full"}, tones=())
    assert band.kit
    band.play(channel=4)
    claves = band.kit.note("claves")
    assert {m[0] for m in band.wire.messages if m[0] & 0xF0 == 0x90 and m[1] == claves} == {0x93}


def test_what_plays_beside_goes_to_its_own_port_and_the_player_and_the_click_stay() -> None:
    general = read_kit("general-midi-1")
    kit = replace(general, notes={**general.notes, "claves": 99})  # a module with claves of its own
    band = Band(CLAVE, times=2, kit=kit, band_kit=general)
    band.play(channel=4, band=band.other, send_clock=True, program=17)
    assert {m[0] & 0x0F for m in band.wire.messages if m[0] < 0xF0} == {3}
    assert programs(band.other) == [b"\xc1\x20", b"\xc2\x00"]
    claves = [m for m in band.other.messages if m[0] == 0x99]
    assert {m[1] for m in claves} == {75}
    assert len(claves) == 5 * 2  # a son clave has five strokes; here it fills the one bar
    zero = band.wire.only(CLICK, CLICK_1)[0]
    assert spans(band.other, 2, zero)[0].begin == pytest.approx(2, abs=0.001)
    assert START in band.wire.messages
    assert all(m[0] < 0xF0 for m in band.other.messages)
    for channel in (2, 3, 10):
        assert set(OFF[channel]) <= set(band.other.messages[-6:])


@pytest.mark.parametrize("which", ["wire", "other"])
def test_if_one_of_two_ports_goes_both_wait_in_silence(which: str) -> None:
    band = middle()
    gone: Wire = getattr(band, which)
    left = band.other if which == "wire" else band.wire
    band.at(3.3, lambda: setattr(gone, "plugged", False))
    band.at(30, lambda: setattr(gone, "plugged", True))
    band.at(35, Command.QUIT)
    band.play(band=band.other)
    begin = band.start + player_lead()
    waiting = [m for at, m in left.came if 4.2 < (at - begin) / SECOND < 29]
    assert waiting == []
    assert hanging([m for at, m in left.came if at - begin < 29 * SECOND]) == set()
    assert band.said[0][1].startswith("the band's port" if which == "other" else "the port")
    assert "back" in band.said[1][1]
    assert gone.tried > 20
    again = [at for at in band.wire.only(CLICK, CLICK_1) if (at - begin) / SECOND > 29]
    assert [round((at - again[0]) / SECOND, 3) for at in again[:4]] == [0, 0.5, 1, 1.5]
    late = [m for at, m in band.other.came if (at - begin) / SECOND > 29]
    assert [m for m in late if m[0] & 0xF0 == 0xC0] == [b"\xc1\x20", b"\xc2\x00"]
    for wire in (band.wire, band.other):
        assert hanging(wire.messages) == set()


def player_lead() -> int:
    from midiforge.live.playing import player

    return player.LEAD


def test_one_port_goes_while_another_is_waited_for() -> None:
    band = middle()
    band.at(3.3, lambda: setattr(band.other, "plugged", False))
    band.at(10, lambda: setattr(band.wire, "plugged", False))
    band.at(20, lambda: setattr(band.other, "plugged", True))
    band.at(30, lambda: setattr(band.wire, "plugged", True))
    band.at(35, Command.QUIT)
    band.play(band=band.other)
    begin = band.start + player_lead()
    assert len(band.said) == 2
    for wire in (band.wire, band.other):
        ons = [(at - begin) / SECOND for at, m in wire.came if m[0] & 0xF0 == 0x90]
        assert min(at for at in ons if at > 4) > 30
    assert hanging(band.wire.messages) == hanging(band.other.messages) == set()


# Levels


def loud(wire: Wire, channel: int, after: float = 0) -> list[int]:
    """Velocities on a channel, from so many seconds after the first click on."""
    zero = wire.only(CLICK, CLICK_1)[0] + after * SECOND
    return [m[2] for at, m in wire.came if m[0] == 0x90 | channel - 1 and at >= zero]


def test_levels_scale_the_velocities_of_their_layer_alone() -> None:
    plain, band = Band(EIGHT), Band(EIGHT)
    plain.play()
    band.play(levels=Levels({"bass": 80, "chords": 50}))
    assert loud(band.wire, 2) == [72, 72, 72]
    assert loud(band.wire, 3) == [45, 45]
    assert loud(band.wire, 10) == loud(plain.wire, 10)


def test_softer_and_louder_are_heard_with_the_next_note_of_the_chosen_layer() -> None:
    band = Band(EIGHT, tones=[tone(i, 1, 40, velocity=100) for i in range(8)])
    layers = ("hands", "click", "bass")
    for i in range(len(layers)):
        band.at(2.1 + i / 100, Command.LAYER)
    band.at(3.1, Command.SOFTER)
    band.at(3.6, Command.SOFTER)
    band.at(4.1, Command.LOUDER)
    band.play()
    assert band.exercises and route_layers(band) == layers
    assert loud(band.wire, 2) == [100, 100, 100, 90, 80, 90, 90, 90]


def route_layers(band: Band) -> tuple[str, ...]:
    return band.bars[0][1].playable.layers


def test_the_levels_end_at_20_and_150_per_cent_and_stay_with_the_lesson() -> None:
    levels = Levels()
    for _ in range(3):
        levels.choose_next(("hands", "click", "bass"))
    assert levels.chosen == "bass"
    for _ in range(20):
        levels.change(10, ("bass",))
    assert levels["bass"] == 150
    for _ in range(20):
        levels.change(-10, ("bass",))
    assert levels["bass"] == 20
    assert levels["hands"] == 100


def test_choosing_goes_round_the_layers_that_the_exercise_has() -> None:
    levels, found = Levels(), []
    for layers in [("hands", "click")] * 3 + [("feet", "bass")] * 2 + [()]:
        levels.choose_next(layers)
        found.append(levels.chosen)
    assert found == ["hands", "click", "hands", "feet", "bass", "bass"]


def test_louder_without_a_choice_is_of_the_first_layer_there_is() -> None:
    levels = Levels()
    levels.change(10, ("feet", "chords"))
    assert (levels.chosen, levels["feet"]) == ("feet", 110)
    levels = Levels()
    levels.change(10, ())
    assert all(levels[each] == 100 for each in LAYERS)


def test_no_level_silences_a_note_or_goes_past_127() -> None:
    for level in (20, 100, 150):
        found = scaled(level)
        assert min(found) >= 1 and max(found) <= 127
        assert list(found) == sorted(found)
    assert list(scaled(100))[1:] == list(range(1, 128))
    assert scaled(150)[80] == 120 and scaled(20)[100] == 20


def test_the_layers_of_an_exercise_are_those_that_sound() -> None:
    band = Band({**EIGHT, "click": "off"}, tones=[tone(0, 1, 40)])
    band.play()
    assert route_layers(band)[-1] == "bass"
    assert "chords" not in route_layers(band) and "feet" not in route_layers(band)


def test_levels_are_read_from_a_list() -> None:
    assert read_levels("bass=80, comp = 60 %,") == {"bass": 80, "chords": 60}
    assert read_levels("") == {}


def test_band_is_the_word_for_percussion_bass_and_chords() -> None:
    assert read_layers("band") == {"percussion", "bass", "chords"}
    assert read_layers("hands, comp") == {"hands", "chords"}
    assert read_levels("band=70, bass=90") == {"percussion": 70, "bass": 90, "chords": 70}
    assert set(LAYERS) == {"hands", "feet", "click", *read_layers("band")}


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("bass", "such as bass=80"),
        ("bas=80", "bass"),
        ("bass=", "20 to 150"),
        ("bass=19", "20 to 150"),
        ("bass=151", "20 to 150"),
        ("bass=0", "--mute bass"),
        ("bass=loud", "20 to 150"),
        ("bass=-80", "20 to 150"),
        ("bass=٨٠", "20 to 150"),
        ("=80", "not a layer"),
    ],
)
def test_a_level_that_is_none_says_what_one_is(text: str, word: str) -> None:
    with pytest.raises(MidiforgeError) as error:
        read_levels(text)
    assert word in str(error.value)


# The screen


ESCAPE = re.compile(r"\x1b\[[0-9;?]*[A-Za-z]")
MARKS = (
    ChordMark(Fraction(0), Fraction(4), "Bm7b5"),
    ChordMark(Fraction(4), Fraction(2), "E7"),
    ChordMark(Fraction(6), Fraction(2), ""),
)


@dataclass
class Screen:
    """A display of a drill with chords."""

    times: int = 2
    chords: Sequence[ChordMark] = MARKS
    tones: Sequence[Tone] = TONES
    shown: Display = field(init=False)

    def __post_init__(self) -> None:
        band = Band(EIGHT, times=self.times, tones=self.tones)
        exercises = [each.changed(chords=tuple(self.chords)) for each in band.exercises]
        route = Route(exercises, band._make, always(self.times))
        self.shown = Display(route, set())

    def go_on(self, bars: int, at: float = 0.0) -> "Screen":
        for _ in range(bars):
            place = self.shown.route.next_bar()
            assert place
            self.shown.bar(place)
        self.shown.moment(at)
        return self

    def lines(self, width: int = 80, height: int = 24) -> list[str]:
        frame = self.shown.frame(width, height)
        return [ESCAPE.sub("", line).rstrip() for line in frame.split("\r\n")]

    def chord(self) -> tuple[str, str]:
        """The chord of the moment, and the next, in a small terminal."""
        line = next(each for each in self.lines(80, 16) if re.match(r"   \S+ ?(   then|$)", each))
        now, _, following = line.partition("   then ")
        return now.strip(), following.strip()


@pytest.mark.parametrize(
    ("bars", "at", "chords"),
    [
        (1, 0.0, ("Bm7b5", "E7")),  # in the count-in the first is shown
        (2, 3.5, ("Bm7b5", "E7")),
        (3, 0.0, ("E7", "N.C.")),
        (3, 1.9, ("E7", "N.C.")),
        (3, 2.0, ("N.C.", "Bm7b5")),  # the seam leads back
        (5, 2.0, ("N.C.", "")),  # and at the end it does not
    ],
)
def test_the_chord_of_the_moment_and_the_next_are_shown(
    bars: int, at: float, chords: tuple[str, str]
) -> None:
    assert Screen().go_on(bars, at).chord() == chords


def test_a_chord_that_goes_on_over_bars_is_not_called_the_next() -> None:
    marks = [ChordMark(Fraction(0), Fraction(4), "C"), ChordMark(Fraction(4), Fraction(4), "C")]
    assert Screen(chords=marks).go_on(2).chord() == ("C", "")


def test_the_seam_leads_back_to_the_chord_it_leads_into() -> None:
    exercise = Screen().shown.route.exercises[0]
    chords = Chords(exercise.changed(loop_start=Fraction(4)))
    assert chords.at(7.0, again=True) == ("N.C.", "E7")


def test_the_chord_is_written_large_where_there_is_room() -> None:
    found = Screen().go_on(2).shown.frame(80, 24)
    # Five rows of letters, each letter of what is shown the other way round.
    rows = [line for line in found.split("\r\n") if "\x1b[7m  " in line]
    assert len([row for row in rows if len(re.findall("\x1b\\[7m +\x1b", row)) > 2]) >= 5
    assert len(Screen().go_on(2).lines(80, 12)) <= 12


@pytest.mark.parametrize(
    "symbol", ["C", "F#m7b5", "Ebmaj7", "G7(#11)/D", "Bbdim7", "N.C.", "Asus4"]
)
def test_large_letters_are_five_rows_no_wider_than_there_is_room(symbol: str) -> None:
    for width in (10, 30, 60, 120):
        rows = large(symbol, width)
        assert len(rows) in (0, 5)
        assert all(len(row) <= width and set(row) <= {"#", " "} for row in rows)
        assert len({len(row) for row in rows}) <= 1
    assert large(symbol, 120)


def test_a_letter_that_has_no_large_form_leaves_the_chord_small() -> None:
    assert large("C\N{GREEK CAPITAL LETTER DELTA}7", 120) == []
    marks = [ChordMark(Fraction(0), Fraction(8), "C\N{GREEK CAPITAL LETTER DELTA}7")]
    text = "\n".join(Screen(chords=marks).go_on(2).lines())
    assert "C\N{GREEK CAPITAL LETTER DELTA}7" in text


def test_no_two_large_letters_look_alike() -> None:
    letters = "ABCDEFGMNabdgijlmostu0123456789#+-/().,"
    drawn = ["\n".join(large(letter, 40)) for letter in letters]
    assert all(drawn)
    assert len(set(drawn)) == len(letters)


@pytest.mark.parametrize(("width", "height"), [(80, 24), (40, 12), (100, 40), (30, 22)])
def test_no_line_is_wider_than_the_terminal_and_none_too_many(width: int, height: int) -> None:
    screen = Screen()
    for bars in range(3):
        screen.go_on(1, bars / 2)
        screen.shown.levels.change(10, LAYERS)
        found = screen.lines(width, height)
        assert len(found) <= height
        assert max(map(len, found)) <= width


def test_a_level_is_shown_when_chosen_or_changed() -> None:
    screen = Screen().go_on(2)
    assert not any("level:" in line for line in screen.lines())
    screen.shown.levels.choose_next(("bass", "chords"))
    assert "  level: bass 100 %" in screen.lines()
    screen.shown.levels.change(-10, ("bass", "chords"))
    screen.shown.levels.choose_next(("bass", "chords"))
    assert "  level: bass 90 %   chords 100 %" in screen.lines()


def test_keys_for_bass_and_chords_are_told_where_the_exercise_has_them() -> None:
    for tones, told, not_told in (
        (TONES, ("s bass", "m chords"), ()),
        (TONES[:1], ("s bass",), ("m chords",)),
        ((), (), ("s bass", "m chords")),
    ):
        text = "\n".join(Screen(tones=tones).go_on(1).lines())
        assert all(each in text for each in told)
        assert not any(each in text for each in not_told)
        assert "l layer   , softer   . louder" in text


def test_an_exercise_without_chords_has_no_line_for_them() -> None:
    assert not any("then" in line for line in Screen(chords=()).go_on(2).lines())


# The command, through real ports


PLAY = """
import sys
from dataclasses import replace
from fractions import Fraction
from midiforge.lesson.lesson import Lesson
from midiforge.command.run import run
from midiforge.model.band import ChordMark, Member, Tone
chosen = Lesson.select
band = (Member("low", "bass", "Bass", 2, 33), Member("keys", "comp", "Piano", 3, 1))
tones = tuple(
    Tone(Fraction(i), Fraction(1), 40 + i, 100, "low") for i in range(4)
) + (Tone(Fraction(1), Fraction(3), 60, 80, "keys"),)
def with_band(lesson, only):
    return [each.changed(band=band, tones=tones,
            chords=(ChordMark(Fraction(0), Fraction(4), "Cm7"),)) for each in chosen(lesson, only)]
Lesson.select = with_band
sys.exit(run(["play", *sys.argv[1:]]))
"""
FAST = ("--sticking", "RLRL", "--stages", "full", "--tempos", "300", "--count-in", "1")


def playing(server: Server, *arguments: str) -> "subprocess.Popen[str]":
    return subprocess.Popen(
        [sys.executable, "-c", PLAY, *arguments],
        env=server.environment,
        cwd=Path(__file__).parent.parent,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )


def test_through_real_ports_tones_last_as_written(jack: Server, module: Receiver) -> None:
    process = playing(jack, *FAST, "--times", "3", "--port", "module", "--levels", "bass=50")
    out, said = process.communicate(timeout=PATIENCE)
    assert (process.returncode, said) == (0, "")
    module.until(lambda m: set(OFF[2] + OFF[3] + OFF[10]) <= set(m.messages[-6:]))
    assert {b"\xc1\x20", b"\xc2\x00"} == set(module.messages[:2])
    begin: dict[tuple[int, int], int] = {}
    lengths: dict[int, list[float]] = {2: [], 3: []}
    for at, _, m in module.heard:
        channel = (m[0] & 0x0F) + 1
        if channel in lengths and m[0] & 0xF0 == 0x90:
            begin[channel, m[1]] = at
            assert m[2] == (50 if channel == 2 else 80)
        elif m[0] & 0xF0 == 0x80 and (channel, m[1]) in begin:  # at the end, once more
            lengths[channel].append((at - begin.pop((channel, m[1]))) / MS)
    assert not begin
    # A quarter note at 300 is 200 ms; half of them within 5 ms, as jitter of a busy machine goes.
    for channel, length, number in ((2, 200, 12), (3, 600, 3)):
        off = sorted(abs(each - length) for each in lengths[channel])
        assert len(off) == number
        assert off[number // 2] <= 5 and off[-1] <= 150
    assert "99th percentile" in out


def test_two_real_ports_and_one_that_vanishes(jack: Server, module: Receiver) -> None:
    synth = Receiver(jack, "lamp")
    process = playing(
        jack, *FAST, "--times", "0", "--port", "module", "--band-port", "lamp", "--plain"
    )
    lines: list[str] = []

    def read() -> None:
        assert process.stdout
        with suppress(ValueError, OSError):
            lines.extend(iter(process.stdout.readline, ""))

    threading.Thread(target=read, daemon=True).start()

    def until(true: Callable[[], object]) -> None:
        end = time.monotonic() + PATIENCE
        while not true():
            assert time.monotonic() < end, f"not in time: {lines}"
            time.sleep(0.01)

    try:
        synth.until(lambda m: len(m.ons()) > 6)
        assert {m[0] & 0x0F for m in module.messages} == {9}
        assert {m[0] & 0x0F for m in synth.messages} == {1, 2}
        synth.kill()
        until(lambda: any("gone" in line for line in lines))
        module.rest(0.3)
        assert hanging(module.messages) == set()
        synth.heard.clear()
        synth.plug()
        until(lambda: any("back" in line for line in lines))
        synth.until(lambda m: len(m.ons()) > 6)
        assert {b"\xc1\x20", b"\xc2\x00"} <= set(synth.messages)
        process.terminate()
        assert process.wait(PATIENCE) == 143
        module.rest()
        synth.rest()
        assert hanging(module.messages) == hanging(synth.messages) == set()
        assert set(OFF[2] + OFF[3]) <= set(synth.messages[-4:])
    finally:
        process.kill()
        process.wait()
        for stream in (process.stdout, process.stderr):
            if stream:
                with suppress(OSError):
                    stream.close()
        synth.kill()


@pytest.mark.parametrize(
    ("flags", "words"),
    [
        (("--band-port", "nobody"), ("--band-port", "module:in")),
        (("--band-port", "module"), ("--band-port", "other output")),
        (("--levels", "bass=5"), ("--levels", "20 to 150")),
        (("--mute", "bas"), ("--mute", "bass")),
        (("--solo", "bands"), ("--solo", "'band'")),
    ],
)
def test_flags_that_cannot_be_met_are_told_in_one_line(
    jack: Server, module: Receiver, flags: Sequence[str], words: Sequence[str]
) -> None:
    assert module
    process = playing(jack, *FAST, "--port", "module", *flags)
    _, said = process.communicate(timeout=PATIENCE)
    assert process.returncode == 2
    assert said.count("\n") == 1
    assert all(word in said for word in words)


def test_a_track_on_the_channel_of_the_kit_is_refused(
    jack: Server, module: Receiver, tmp_path: Path
) -> None:
    kit = tmp_path / "mine.toml"
    kit.write_text("starts_from = 'general-midi-1'\nchannel = 2\n", encoding="utf-8")
    process = playing(jack, *FAST, "--port", "module", "--kit", os.fspath(kit))
    _, said = process.communicate(timeout=PATIENCE)
    assert process.returncode == 2
    assert "channel 2" in said and "--band-port" in said
    assert not module.ons()
