"""An exercise in the terminal, as a drummer reads it, and what it asks for."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby
from operator import attrgetter
from textwrap import wrap

from midiforge.insight.demands import Demands, fastest_tempo
from midiforge.insight.insight import Insight, insight
from midiforge.insight.loop import Meeting, hands_and_feet
from midiforge.insight.syncopation import MEASURE
from midiforge.insight.words import (
    bars_named,
    chord_bars,
    counted_in,
    explained,
    paragraphs,
    repeats,
    swung,
)
from midiforge.model.exercise import Exercise, fastest
from midiforge.model.number import numbers_said
from midiforge.screen.setting import Bars, Setting, Spans

STYLES = {
    "title": "bold",
    "count": "cyan",
    "label": "cyan",
    "accent": "bold yellow",
    "ghost": "dim",
    "faint": "dim",
    "warning": "bold red",
}
_LABELS = 14
_NARROWEST, _WIDEST = 20, 120
_HARDEST = 3
_MOST_TEMPOS = 4
_SLIGHT = 0.5  # points of a part of the score that is not worth naming


def exercise_lines(
    exercise: Exercise | Sequence[Exercise], width: int, most_bars: int = 16
) -> Iterator[Spans]:
    """An exercise and what it asks of the player, as pieces of text with the names of their styles.

    Nothing is told by colour alone.

    exercise: one, or the same one at several tempos.
    width: columns of the terminal.
    most_bars: how many different bars are shown at most.
    """
    at_tempos = [exercise] if isinstance(exercise, Exercise) else [*exercise]
    exercise = fastest(at_tempos)
    found = insight(exercise)
    width = min(max(width, _NARROWEST), _WIDEST)
    numbers = numbers_said(exercise.number for exercise in at_tempos)
    title = f"{numbers}. {exercise.title}" if numbers else exercise.title
    own = ((text, "") for text in paragraphs(exercise.text))
    for text, style in ((title, "title"), (_header(at_tempos), "faint"), *own):
        yield from ([(line, style)] for line in wrap(text, width))
    yield []
    setting = Setting(exercise, most_bars)
    yield from setting.lines(width)
    if setting.left_out:
        yield []
        yield [(f"and {setting.left_out} more bars that differ", "faint")]
    yield []
    yield from _facts(_music(exercise, found, setting.all), width)
    yield []
    yield from _rates(at_tempos, found.demands)
    if meetings := [*_meetings(exercise, found)]:
        yield []
        yield [("hands meet feet", "label")]
        yield from _facts(meetings, width, "")
    yield []
    yield from _facts(_demands(found), width)
    yield from _facts((("too much?", warning) for warning in found.warnings), width, "warning")


def _header(at_tempos: Sequence[Exercise]) -> str:
    """Such as "4/4, quarter = a 92, b 104, swung eighths 2:1, R leads, 1 bar count-in"."""
    exercise = at_tempos[0]
    tempos = f"{exercise.meter.pulse_name} = {', '.join(one.tempo_said for one in at_tempos)}"
    swing = "" if exercise.swing.is_straight else swung(exercise.swing)
    lead = f"{exercise.variant.lead} leads" if exercise.variant.lead else ""
    return ", ".join(filter(None, (str(exercise.meter), tempos, swing, lead, counted_in(exercise))))


def _music(exercise: Exercise, found: Insight, bars: Bars) -> Iterator[tuple[str, str]]:
    """What is played on what, when it repeats, who plays along, and to which chords."""
    if played_on := "; ".join(_played_on(bars)):
        yield "played on", played_on
    if exercise.hands:
        yield "ostinato", exercise.hands
    yield "repeats", _repeats(exercise)
    if exercise.band:
        yield "the band", "; ".join(member.title for member in exercise.band)
    if exercise.chords:
        yield "chords", " | ".join(" ".join(bar) for bar in chord_bars(exercise))
    for said, meaning in explained(
        [exercise.title, *(meeting.count for meeting in found.meetings)]
    ):
        yield "counts", f"{said} is {meaning}"


def _played_on(bars: Bars) -> Iterator[str]:
    for name, played_on in bars.stave.played_on.items():
        label = bars.labels.get(name)
        who = f"{label}: {name} on" if label else name
        yield f"{who} {played_on}"


def _repeats(exercise: Exercise) -> str:
    text = repeats(exercise)
    if exercise.bars != exercise.returns_after_bars:
        text += f"; {exercise.bars} bars are written"
        if exercise.loop_start:
            text += ", the loop goes back to " + bars_named([exercise.loop_bar + 1])
    return text


def _rates(at_tempos: Sequence[Exercise], asked: Demands) -> Iterator[Spans]:
    """Strokes a second of each limb: on average, and at most."""
    shown = [asked.at(fastest_tempo(one)) for one in _some(at_tempos, _MOST_TEMPOS)]
    if not shown[0].limbs:
        return
    heads = "".join(f"{f'at {float(asked.tempo):g} bpm':>13}" for asked in shown)
    yield [("strokes a second: on average, and at most", "label")]
    yield [(" " * (_LABELS - 4) + heads, "faint")]
    for rates in zip(*(demands.limbs for demands in shown), strict=True):
        cells = f"{rates[0].limb.title:<{_LABELS - 4}}"
        for rate in rates:
            most = f"{float(rate.peak):.1f}" if rate.peak else "-"
            cells += f"{float(rate.per_second):>7.1f}{most:>6}"
        yield [(cells, "")]


def _some(items: Sequence[Exercise], most: int) -> Sequence[Exercise]:
    """The first, the last and some between, evenly."""
    if len(items) <= most:
        return items
    return [items[round(i * (len(items) - 1) / (most - 1))] for i in range(most)]


def _meetings(exercise: Exercise, found: Insight) -> Iterator[tuple[str, str]]:
    """How often and where each hand that plays meets each foot that does."""
    playing = {demand.limb for demand in found.demands.limbs}
    for (hand, foot), met in hands_and_feet(found.meetings).items():
        if playing >= {hand, foot}:
            count = f"{len(met)} times: " if len(met) > 1 else "once: " if met else "never"
            where = _where(met, exercise.returns_after_bars > 1)
            yield f"{hand.letter} + {foot.letter}", count + where


def _where(met: Sequence[Meeting], several: bool) -> str:
    """Places in the bar; in which bars, where there are several; like bars drawn together."""
    alike: dict[tuple[str, ...], list[int]] = {}
    for bar, meetings in groupby(met, key=attrgetter("bar")):
        alike.setdefault(tuple(meeting.count for meeting in meetings), []).append(bar)
    if not several:
        return "  ".join(places for group in alike for places in group)
    said = [f"{bars_named(bars)}: {' '.join(places)}" for places, bars in alike.items()]
    more = f"; and so on in {len(said) - 6} more" if len(said) > 6 else ""
    return "; ".join(said[:6]) + more


def _demands(found: Insight) -> Iterator[tuple[str, str]]:
    asked = found.demands
    if asked.endless and asked.run_hand:
        hands = sum(demand.limb.is_hand for demand in asked.limbs)
        alone = " alone" if hands == 1 else ""
        yield "longest run", f"the {asked.run_hand.title} plays{alone} throughout"
    elif asked.longest_run == 1:
        yield "longest run", "1, no hand plays twice in a row"
    elif asked.run_hand:
        graced = any(demand.grace_notes for demand in asked.limbs)
        counted = ", grace notes counted" if graced else ""
        yield "longest run", f"{asked.longest_run} with the {asked.run_hand.title}{counted}"
    mixed = len({demand.limb.is_hand for demand in asked.limbs}) > 1
    if mixed or asked.unisons:
        share = round(100 * asked.unison_share)
        yield "unisons", f"{asked.unisons} of {asked.moments} moments ({share}%)"
    lines = (f"{line.name} {float(line.per_bar):.1f}" for line in found.syncopation.lines)
    by_line = ", ".join(line.removesuffix(".0") for line in lines)
    yield "syncopation", f"{by_line}; a bar, 0 is none ({MEASURE})"
    # Which hands alone strike together, or feet alone, is seen in the sticking.
    telling = [part for part in found.difficulty.hardest if mixed or part.name != "combinations"]
    hardest = [part.why for part in telling[:_HARDEST] if part.points >= _SLIGHT]
    score = f"{found.difficulty.score:.1f} by our own rule of thumb, 0 is easiest"
    yield "how hard", f"{score}: {'; '.join(hardest)}" if hardest else score


def _facts(facts: Iterable[tuple[str, str]], width: int, style: str = "label") -> Iterator[Spans]:
    """Labels and their texts, wrapped with the texts' left edge kept."""
    room = max(width - _LABELS, 20)
    for label, text in facts:
        lines = wrap(text, room, break_long_words=False, break_on_hyphens=False)
        for number, line in enumerate(lines or [""]):
            head = f"{'' if number else label:<{_LABELS}}"
            yield [(head, style), (line, style if style == "warning" else "")]
