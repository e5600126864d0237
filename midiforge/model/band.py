"""Those who play beside the drummer: tracks, their tones, and the chords they play."""

from fractions import Fraction

from midiforge.frozen import frozen

NO_CHORD = "N.C."  # how a chord chart says that none is played


@frozen
class Track:
    """Somebody who plays beside the drummer.

    name: one word; the layer of its hits if it is percussion, the track of its tones else.
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
    """One pitch of a track, held.

    time, length: quarter notes, written straight (see `Swing`); it ends within the exercise.
    pitch: a MIDI note number, 60 for middle C.
    velocity: 1 to 127, before its track's level.
    """

    time: Fraction
    length: Fraction
    pitch: int
    velocity: int
    track: str


@frozen
class ChordMark:
    """A chord symbol over its time, in quarter notes from the first downbeat.

    symbol: as typed, such as "Bm7b5"; "" for no chord (N.C.).
    length: in quarter notes.
    """

    time: Fraction
    length: Fraction
    symbol: str
