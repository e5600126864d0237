"""How a stroke is spelled: in stickings, on screens, in files.

R is a tap, >R an accent, (R) a ghost note, lR a flam, llR a drag, Rz a buzz; R+K are struck
together. In a repeating pattern, which has a limb to itself, marks stand for strokes.
"""

from collections.abc import Iterable
from typing import NamedTuple

from midiforge.model.hit import Hit, Limb, OrnamentKind, Strength

MARKS = {Strength.TAP: "x", Strength.ACCENT: ">", Strength.GHOST: "g"}


class Spelling(NamedTuple):
    """A stroke's letter, and what stands before and behind it."""

    before: str
    letter: str
    after: str

    def __str__(self) -> str:
        return "".join(self)


def spelled(
    letter: str, grace: str = "", buzz: bool = False, strength: Strength = Strength.TAP
) -> Spelling:
    """A stroke by its parts; `grace`: the small letters of its grace notes."""
    behind = "z" if buzz else ""
    if strength is Strength.GHOST:
        return Spelling(f"({grace}", letter, f"{behind})")
    return Spelling(f">{grace}" if strength is Strength.ACCENT else grace, letter, behind)


def spelled_hit(hit: Hit, strength: Strength | None = None) -> Spelling:
    """A limb's stroke, as strong as it is, or as given; "*" for what no limb plays."""
    grace, buzz = "", False
    if hit.ornament and hit.limb:
        hand = hit.ornament.limb or hit.limb.opposite
        grace = hand.letter.lower() * hit.ornament.grace_notes
        buzz = hit.ornament.kind is OrnamentKind.BUZZ
    letter = hit.limb.letter if hit.limb else "*"
    return spelled(letter, grace, buzz, hit.strength if strength is None else strength)


def together(limbs: Iterable[Limb]) -> str:
    """The limbs of strokes at one time: "R+K"."""
    return "+".join(limb.letter for limb in limbs)
