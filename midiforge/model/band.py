"""The band: its members, the tones that they play, and the chords that they play them to."""

from fractions import Fraction

from midiforge.frozen import frozen

NO_CHORD = "N.C."  # how a chord chart says that none is played
PERCUSSION, BASS, COMP = "percussion", "bass", "comp"  # what a member plays


@frozen
class Member:
    """Somebody in the band.

    name: one word; its hits have it as their layer, its tones as `member`.
    kind: "percussion", "bass" or "comp".
    title: what a person calls it.
    channel: 1 to 16; 0 for the kit's own, which percussion uses.
    program: General MIDI program, from 1; 0 for percussion.
    level: scales its velocities; 1 as written.
    """

    name: str
    kind: str
    title: str
    channel: int = 0
    program: int = 0
    level: Fraction = Fraction(1)


@frozen
class Tone:
    """One pitch, held.

    time, length: quarter notes, written straight (see `Swing`); it ends within the exercise.
    pitch: a MIDI note number, 60 for middle C.
    velocity: 1 to 127, before its member's level.
    member: the name of who plays it.
    """

    time: Fraction
    length: Fraction
    pitch: int
    velocity: int
    member: str


@frozen
class ChordMark:
    """A chord symbol over its time, in quarter notes from the first downbeat.

    symbol: as typed, such as "Bm7b5"; "" for no chord (N.C.).
    length: in quarter notes.
    """

    time: Fraction
    length: Fraction
    symbol: str
