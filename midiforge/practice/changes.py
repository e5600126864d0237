"""What to change about an exercise that gets no faster, instead of playing it once more.

Parts alone, gaps in the click, and one demand taken away at a time are common practice of teachers;
that varied practice helps more than repetition was found for many movements and not for all
(schema theory: Schmidt 1975; from memory).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import field
from fractions import Fraction
from typing import Any

from midiforge.frozen import frozen
from midiforge.insight.loop import loop_of
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Limb, Strength
from midiforge.model.tempo import plain
from midiforge.practice.good import Lack

_OTHER_VOICES = (("ride", "ride"), ("hihat-closed", "closed hi-hat"))  # and as they are called
_GAP = "2 on 2 off"


@frozen
class Change:
    """One thing to change.

    said: in words, as what to do. flags: of the command, that make it of the drill; "" where the
        player has to. keys: the same as keys of the drill. accents_alone: whether nothing but
        accents is left of the hands, which no key says.
    """

    said: str
    flags: str = ""
    keys: Mapping[str, Any] = field(default_factory=dict, compare=False)
    accents_alone: bool = False


def changes(exercise: Exercise, lacks: Sequence[Lack], slower: Fraction) -> Iterator[Change]:
    """What can be changed about an exercise, what helps most against what it lacks first.

    lacks: of the last take. slower: a tempo, in pulses a minute.
    """
    lacking = [lack.what for lack in lacks]
    if "accents" in lacking:
        said = "play the accents alone, and let the other strokes rest"
        yield Change(said, accents_alone=True)
    if "tempo" in lacking:
        yield Change("count every beat aloud while you play to the click")
    yield from _fewer_limbs(exercise, lacks)
    if exercise.tempo.is_steady:
        said = f"play it at {plain(slower)} with two bars of click and two without"
        flags = f"{_only(exercise)} --tempos {plain(slower)} --gap '{_GAP}'"
        yield Change(said, flags, {"tempos": plain(slower), "gap": _GAP})
    strokes = [*loop_of(exercise).hits]
    if any(hit.strength is Strength.ACCENT for hit in strokes):
        yield Change("leave the accents out", "--accents none", {"accents": "none"})
    right = {hit.voice for hit in strokes if hit.limb is Limb.RIGHT_HAND}
    if right:
        voice, name = next(other for other in _OTHER_VOICES if other[0] not in right)
        flags = f"{_only(exercise)} --voicing RH={voice}"
        keys = {"voicing": {"RH": voice}}
        yield Change(f"play the right hand on the {name}", flags, keys)
    if exercise.variant.sticking and not exercise.variant.moved("direction").value:
        backward = {"direction": "backward"}
        yield Change("play the sticking backward", "--direction backward", backward)


def _fewer_limbs(exercise: Exercise, lacks: Sequence[Lack]) -> Iterator[Change]:
    """Two limbs alone, or one of two: the one that lacks something, with its nearest partner."""
    playing = {hit.limb for hit in loop_of(exercise).hits}
    limbs = [limb for limb in Limb if limb in playing]
    if len(limbs) < 2:
        return
    weak = next((lack.limb for lack in lacks if lack.limb in limbs), None) or limbs[-1]
    # A foot is held against a hand, and a hand against a foot, where there is one.
    others = sorted(limbs, key=lambda limb: (limb is weak, limb.is_hand == weak.is_hand))
    alone = [weak] if len(limbs) == 2 else sorted({weak, others[0]}, key=limbs.index)
    names = " and ".join(f"the {limb.title}" for limb in alone)
    listed = ", ".join(f'"{limb.value}"' for limb in alone)
    flags = f"--stages part --set 'stage.part.limbs=[{listed}]'"
    keys = {"stages": "part", "stage": {"part": {"limbs": [limb.value for limb in alone]}}}
    yield Change(f"play {names} alone", flags, keys)


def _only(exercise: Exercise) -> str:
    """The flag for an exercise alone, where a change leaves all numbers as they are."""
    return f"--only {exercise.number.whole}"
