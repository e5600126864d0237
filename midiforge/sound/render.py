"""An exercise as samples that loop without a click."""

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.kits.kit import Kit
from midiforge.model.exercise import Exercise
from midiforge.sound.fluid import BLOCK, RATES, Sound, Synth
from midiforge.sound.level import peak
from midiforge.sound.packages import package
from midiforge.sound.schedule import OFF, ON, Event, again, events, sounding
from midiforge.sound.soundfont import drums_of

if TYPE_CHECKING:
    from numpy import float32
    from numpy.typing import NDArray

RATE = 44100  # samples a second
_LONGEST_TAIL = 8.0  # seconds
_LISTENED = 128  # blocks of the tail at a time
_SILENCE = 10 ** (-80 / 20)  # as a share of the highest sample
_TAIL_FADE = 0.1  # seconds, for what is left of a tail that is cut off
_END_FADE = 0.01  # seconds, where there is no loop
_JOIN = 0.005  # seconds, from what leads up to the loop into the loop


@frozen
class Rendered:
    """An exercise as sound.

    samples: (n, 2), left and right, not yet brought to a level; may pass 1.
    rate: samples a second.
    loop: the sample that follows the last one as it loops; None if it does not loop.
    begins, turn: where the loop begins and how long it is, in samples, exact.
    """

    samples: "NDArray[float32]"
    rate: int
    loop: int | None
    begins: Fraction = Fraction(0)
    turn: Fraction = Fraction(0)

    def size(self, times: int) -> int:
        """How many samples there are if the loop goes round so often."""
        if times == 1:
            return len(self.samples)
        return round(self.begins + times * self.turn)

    def turns(self, times: int) -> Iterator["NDArray[float32]"]:
        """The samples, and the loop again up to so many times round, piece by piece.

        Each turn begins at the sample nearest to its own time, so it is as long as the first one,
        or a sample shorter or longer: nothing adds up.
        """
        yield self.samples
        again = self.samples[self.loop or 0 :]
        for number in range(1, times):
            first, end = (round(self.begins + i * self.turn) for i in (number, number + 1))
            yield again[: end - first]
            if end - first > len(again):
                yield (again[-1:] + again[:1]) * again.dtype.type(0.5)


def rendered(
    exercise: Exercise, kit: Kit, sound: Sound, rate: int = RATE, closed: bool = True
) -> Rendered:
    """The exercise as sound, exactly `round(exercise.seconds * rate)` samples long.

    kit: whose velocities the drums are struck with; they sound by their General MIDI numbers.
    closed: whether it loops from `Exercise.loop_start` to its end: what rings on after the end
        is then heard at the loop's start, where it would be heard while looping, and what rings
        there from before (a count-in, a late entry) is left out. Else it ends in a short fade.

    FluidSynth begins notes at blocks of 64 samples. Each note is put at the block nearest to its
    own time, counted from the start of the loop, so it is at most half a block (0.73 ms at 44100)
    early or late, and this never adds up.

    Raises MidiforgeError if FluidSynth or numpy is missing, or the SoundFont cannot be loaded.
    """
    numpy = package("numpy")
    if not RATES[0] <= rate <= RATES[1]:
        raise MidiforgeError(
            f"{rate} samples a second cannot be rendered", hint=f"{RATES[0]} to {RATES[1]}"
        )
    length = round(exercise.seconds * rate)
    start = float(exercise.lead_seconds) if closed else 0.0
    loop = round(start * rate)
    found = sounding(exercise, kit, drums_of(sound.soundfont))
    own = [note for note in found if note.begin >= start]
    blocks = _blocks(length - loop)
    told = events(own, start, rate, blocks)
    most = 0
    if closed:
        most = _blocks(round(_LONGEST_TAIL * rate)) + _LISTENED
        told += again(own, start, float(exercise.seconds) - start, rate, _LONGEST_TAIL)
        told.sort()
    # One array for all of it: the count-in, the loop, and for a while what rings on.
    everything: NDArray[float32] = numpy.zeros((loop + (blocks + most) * BLOCK, 2), numpy.float32)
    samples, looped = everything[:length], everything[loop:]
    with _synth(exercise, sound, rate) as synth:
        if loop:
            before = events((n for n in found if n.begin < start), 0.0, rate, _blocks(loop))
            with _synth(exercise, sound, rate) as leading:
                _Player(leading, before, everything).to(_blocks(loop))
        player = _Player(synth, told, looped)
        player.to(blocks)
        if not closed:
            _fade(samples, round(_END_FADE * rate))
            return Rendered(samples, rate, None)
        tail = _tail(player, looped, length - loop, blocks + most)
    _fade(tail, round(_TAIL_FADE * rate))
    for first in range(0, len(tail), length - loop):
        part = tail[first : first + length - loop]
        looped[: len(part)] += part
    _join(samples, loop, round(_JOIN * rate))
    return Rendered(samples, rate, loop, exercise.lead_seconds * rate, exercise.loop_seconds * rate)


class _Player:
    """Renders to an array what a synthesiser is told."""

    def __init__(self, synth: Synth, told: list[Event], samples: "NDArray[float32]") -> None:
        self._synth, self._told, self._next, self._block = synth, told, 0, 0
        self._samples = samples  # it must live as long as its address is used
        self._address: int = samples.ctypes.data
        self._size = BLOCK * samples.strides[0]

    def to(self, block: int) -> None:
        """Renders up to `block`."""
        synth, told, i, at = self._synth, self._told, self._next, self._block
        address, size, several = self._address, self._size, len(told)
        while at < block:
            while i < several and told[i][0] <= at:
                _, kind, channel, key, velocity = told[i]
                i += 1
                if kind == ON:
                    synth.on(channel, key, velocity)
                elif kind == OFF:
                    synth.off(channel, key)
                else:
                    synth.on_unheard(channel, key, velocity)
            until = min(told[i][0], block) if i < several else block
            synth.write(address + at * size, until - at)
            at = until
        self._next, self._block = i, at


def _synth(exercise: Exercise, sound: Sound, rate: int) -> Synth:
    synth = Synth(sound, rate)
    for member in exercise.band:
        if member.channel and member.program:
            synth.program(member.channel, member.program)
    return synth


def _tail(
    player: _Player, looped: "NDArray[float32]", length: int, most: int
) -> "NDArray[float32]":
    """What rings on after `length` samples, until it cannot be heard or block `most` comes."""
    silence = _SILENCE * peak(looped[:length])
    last = _blocks(length)
    while last < most:
        first, last = last, min(last + _LISTENED, most)
        player.to(last)
        if peak(looped[first * BLOCK : last * BLOCK]) <= silence:
            break
    return looped[length : last * BLOCK]


def _join(samples: "NDArray[float32]", loop: int, length: int) -> None:
    """Leads over into the loop as the loop's own end does, in the last moment before it."""
    length = min(length, loop, len(samples) - loop)
    if length:
        share = package("numpy").linspace(0, 1, length, dtype="float32")[:, None]
        lead = samples[loop - length : loop]
        lead += share * (samples[-length:] - lead)


def _fade(samples: "NDArray[float32]", length: int) -> None:
    """Lets the last `length` samples fade to nothing."""
    length = min(length, len(samples))
    if length:
        samples[-length:] *= package("numpy").linspace(1, 0, length, dtype="float32")[:, None]


def _blocks(samples: int) -> int:
    """How many blocks hold so many samples."""
    return -(-samples // BLOCK)
