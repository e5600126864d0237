"""Where written strokes stand on the staff, for whoever lays what was played over it."""

from collections.abc import Iterator
from fractions import Fraction

from midiforge.engraving.drawing import Setting
from midiforge.engraving.shapes import SPACE
from midiforge.model.hit import Limb
from midiforge.notation.score import PLAYERS_VOICES, Head, Score

# How a stroke is drawn over its notehead: shifted by so many times as far as it was off (a grid
# step is a finger wide, and 20 ms of it a hair), but by no more than so much of a grid step; half a
# notehead, and a bit, wide and high.
MAGNIFIED, FURTHEST = 3, 0.8
WIDE, HIGH = 6.4, 4.8

# A written stroke: its bar, its place in it, its limb and its voice.
Written = tuple[int, Fraction, Limb, str]


def heads_of(score: Score) -> Iterator[tuple[Written, Head]]:
    """Every stroke of the player that is written, with its notehead."""
    for bar in score.bars:
        for voice in bar.voices:
            for note in voice.notes:
                for time, head in (*((note.start, head) for head in note.heads), *note.rolled):
                    limbs = [limb for limb in Limb if _is_of(head, voice.name, limb)]
                    for limb in limbs:
                        yield (bar.number, time, limb, head.voice), head


def height_of(head: Head, setting: Setting) -> float:
    """How far below the top of its setting a notehead is, in tenths of a staff space."""
    return setting.staff + (8 - head.sign.place) * SPACE / 2


def _is_of(head: Head, voice: str, limb: Limb) -> bool:
    if limb.is_foot:
        return voice in PLAYERS_VOICES and not head.hand
    return head.hand == limb.letter
