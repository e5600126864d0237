"""Published figures of professional drummers, to be put beside the player's."""

from midiforge.frozen import frozen
from midiforge.model.hit import Limb

SOURCE = (
    "S. Fujii, M. Hirashima, K. Kudo, T. Ohtsuki, Y. Nakamura, S. Oda: Synchronization error of "
    "drum kit playing with a metronome at different tempi by professional drummers, Music "
    "Perception 28(5), 2011, 491-503; figures as in its abstract"
)
_FAST = 160.0  # half way between the two tempos the study has above and below


@frozen
class Professional:
    """Where a limb's strokes lay on average. mean_ms: below 0 ahead; said: as it was published."""

    mean_ms: float
    said: str


_SLOW_FIGURES = {
    Limb.RIGHT_HAND: Professional(-2.0, "about 2 ms"),
    Limb.LEFT_HAND: Professional(-10.0, "about 10 ms ahead"),
    Limb.RIGHT_FOOT: Professional(-10.0, "about 10 ms ahead"),
}
_FAST_FIGURES = {
    Limb.RIGHT_HAND: Professional(10.0, "about 10 ms behind"),
    Limb.LEFT_HAND: Professional(0.0, "about 1 ms"),
    Limb.RIGHT_FOOT: Professional(0.0, "about 1 ms"),
}


def professionals(tempo: float) -> dict[Limb, Professional]:
    """The figures for the tempos that are nearest, in pulses a minute: 60 and 120, or 200."""
    return _FAST_FIGURES if tempo >= _FAST else _SLOW_FIGURES


def usual(professional: Professional | None) -> str:
    """ "10 ms ahead"; "" where nothing was published."""
    return professional.said.removeprefix("about ") if professional else ""


def tempos_of(tempo: float) -> str:
    """ "60 and 120 bpm"."""
    return "200 bpm" if tempo >= _FAST else "60 and 120 bpm"


FIGURES = (
    "Fifteen professional drummers, playing a basic pattern to a metronome: at 60 and 120 bpm the "
    "right hand (hi-hat) within about 2 ms of it, left hand (snare drum) and right foot (bass "
    "drum) about 10 ms ahead; at 200 bpm the right hand about 10 ms behind, the others within "
    "about 1 ms."
)
MEANING = (
    "It means: a limb that lies some milliseconds ahead on average is usual, and limbs differ "
    "from each other."
)
NOT_MEANING = (
    "It does not mean: a target, or how steady they were; they played to a metronome, another "
    "pattern, measured without your module's delay."
)
FROM_THE_MIDDLE = (
    "Your means are told from the middle of your own strokes, so compare how far the limbs lie "
    "from each other, not each figure by itself."
)


def about(delay_is_known: bool) -> list[str]:
    """What to say of the figures beside a player's."""
    said = [FIGURES, MEANING, NOT_MEANING]
    if not delay_is_known:
        said.append(FROM_THE_MIDDLE)
    return [*said, f"Source: {SOURCE}."]
