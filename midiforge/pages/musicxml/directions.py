"""Words, and marks above the top part."""

import re
from fractions import Fraction
from xml.sax.saxutils import escape

from midiforge.insight.words import paragraphs
from midiforge.model.meter import Meter
from midiforge.model.number import numbers_said
from midiforge.model.swing import Swing
from midiforge.model.tempo import TempoMap, plain
from midiforge.notation.rhythm import value_of
from midiforge.notation.score import Score
from midiforge.notation.swells import Hairpin

# By the length of the pair; MusicXML knows no other swung notes.
_SWING_TYPES = {Fraction(1): "eighth", Fraction(1, 2): "16th"}
_LINE_BREAKS = re.compile("[\t\n\r]+")
# What XML 1.0 does not allow in a document, even escaped (section 2.2, Char).
_FORBIDDEN = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def text_of(text: str) -> str:
    """A text as the content of an element: escaped, on one line, without what XML forbids."""
    return escape(_FORBIDDEN.sub("", _LINE_BREAKS.sub(" ", text)))


def direction(kind: str, sound: str = "") -> str:
    """A direction above the staff; `kind` and `sound` are elements."""
    return (
        f'<direction placement="above"><direction-type>{kind}</direction-type>{sound}</direction>\n'
    )


def swell_begins(hairpin: Hairpin) -> str:
    """The level and the wedge with which a crescendo or diminuendo begins, if it does here."""
    if not hairpin.begins:
        return ""
    wedge = f'<wedge type="{"crescendo" if hairpin.is_louder else "diminuendo"}"/>'
    return _below(f"<dynamics><{hairpin.begins}/></dynamics>") + _below(wedge)


def swell_ends(hairpin: Hairpin) -> str:
    """The end of the wedge and the level reached, if it is reached here."""
    if not hairpin.ends:
        return ""
    return _below('<wedge type="stop"/>') + _below(f"<dynamics><{hairpin.ends}/></dynamics>")


def _below(kind: str) -> str:
    return f'<direction placement="below"><direction-type>{kind}</direction-type></direction>\n'


def title(score: Score) -> str:
    """An exercise's numbers as a rehearsal mark, its title, and what its stage has to say."""
    numbers = numbers_said(exercise.number for exercise in score.exercises)
    mark = direction(f"<rehearsal>{numbers}</rehearsal>") if numbers else ""
    title = text_of(score.exercise.title)
    own = "".join(
        direction(f"<words>{text_of(paragraph)}</words>")
        for paragraph in paragraphs(score.exercise.text)
    )
    return mark + direction(f'<words font-weight="bold" font-size="12">{title}</words>') + own


def tempo(score: Score) -> str:
    """The first tempo as a mark that readers play, and in words what else it is played at."""
    tempo = score.exercise.tempo
    unit = value_of(tempo.pulse)
    if unit is None:
        pulse = score.exercise.meter.pulse_name
        mark = f"<words>{text_of(pulse)} = {plain(tempo.first)}</words>"
    else:
        mark = (
            f"<metronome><beat-unit>{unit.name}</beat-unit>{'<beat-unit-dot/>' * unit.dotted}"
            f"<per-minute>{plain(tempo.first)}</per-minute></metronome>"
        )
    others = [plain(exercise.tempo.first) for exercise in score.exercises[1:]]
    words = f"also at {', '.join(others)}" if others else _ramp(tempo, score.exercise.meter)
    said = direction(mark, sound=f'<sound tempo="{_decimal(tempo.first * tempo.pulse)}"/>')
    return said + direction(f"<words>{text_of(words)}</words>") if words else said


def _ramp(tempo: TempoMap, meter: Meter) -> str:
    if tempo.is_steady:
        return ""
    (start, slow), (second, fast) = tempo.changes[:2]
    bars = int((second - start) / meter.bar)
    change = f"{plain(abs(fast - slow))} {'more' if fast > slow else 'less'}"
    return f"{tempo}, {change} every {f'{bars} bars' if bars > 1 else 'bar'}"


def _decimal(number: Fraction) -> str:
    return f"{float(number):.6f}".rstrip("0").rstrip(".")


def swing(swing: Swing) -> str:
    """How eighths or sixteenths swing, in words and for readers that play; or that they do not."""
    kind = _SWING_TYPES.get(swing.pair, "")
    if swing.is_straight:
        return direction(
            "<words>straight</words>", sound="<sound><swing><straight/></swing></sound>"
        )
    ratio = swing.share / (1 - swing.share)
    first, second = ratio.numerator, ratio.denominator
    words = f"<words>swung {kind or 'note'}s {first}:{second}</words>"
    if not kind:
        return direction(words)
    return direction(
        words,
        sound=f"<sound><swing><first>{first}</first><second>{second}</second>"
        f"<swing-type>{kind}</swing-type></swing></sound>",
    )
