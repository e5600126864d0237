"""An exercise in the terminal, as a drummer reads it, and what it asks for."""

from collections.abc import Iterator, Sequence
from fractions import Fraction
from textwrap import wrap
from typing import TYPE_CHECKING

from midiforge.insight import MEASURE, Insight, Meeting, demands, hands_and_feet, insight
from midiforge.insight.places import explained
from midiforge.insight.returns import chord_bars, returns
from midiforge.insight.words import bars_named, counted_in, paragraphs, swung
from midiforge.model.exercise import Exercise
from midiforge.model.hit import FEET, HANDS
from midiforge.model.number import numbers_said
from midiforge.printable import print_line
from midiforge.screen.bars import Bars
from midiforge.screen.facts import tempo_words
from midiforge.screen.setting import Setting, Spans

if TYPE_CHECKING:
    from rich.console import Console

STYLES = {
    "title": "bold",
    "heading": "",
    "count": "cyan",
    "accent": "bold yellow",
    "stroke": "",
    "ghost": "dim",
    "faint": "dim",
    "label": "cyan",
    "warning": "bold red",
}
LABELS = 14
NARROWEST, WIDEST = 20, 120
HARDEST = 3
MOST_TEMPOS = 4
SLIGHT = 0.5  # points of a part of the score that is not worth naming


def show_exercise(
    exercise: Exercise | Sequence[Exercise], console: "Console", most_bars: int = 16
) -> None:
    """Prints an exercise and what it asks of the player, as wide as the console.

    Nothing is told by colour alone.

    exercise: one, or the same one at several tempos.
    most_bars: how many different bars are printed at most.
    """
    for spans in exercise_lines(exercise, console.width, most_bars):
        print_line(console, ((text, STYLES.get(style, "")) for text, style in spans))


def exercise_lines(
    exercise: Exercise | Sequence[Exercise], width: int, most_bars: int = 16
) -> Iterator[Spans]:
    """The lines of `show_exercise`, as pieces of text with the names of their styles."""
    at_tempos = [exercise] if isinstance(exercise, Exercise) else [*exercise]
    exercise = max(at_tempos, key=lambda each: each.tempo.last)
    found = insight(exercise)
    width = min(max(width, NARROWEST), WIDEST)
    numbers = numbers_said(each.number for each in at_tempos)
    title = f"{numbers}. {exercise.title}" if numbers else exercise.title
    for text in wrap(title, width):
        yield [(text, "title")]
    for text in wrap(_header(at_tempos), width):
        yield [(text, "faint")]
    for paragraph in paragraphs(exercise.text):
        for text in wrap(paragraph, width):
            yield [(text, "")]
    yield []
    setting = Setting(exercise, most_bars)
    yield from setting.lines(width)
    if setting.left_out:
        yield []
        yield [(f"and {setting.left_out} more bars that differ", "faint")]
    yield []
    for label, text in _played_on(setting.all):
        yield from _fact(label, text, width)
    if exercise.hands:
        yield from _fact("repeats", exercise.hands, width)
    yield from _fact("returns", _returns(exercise), width)
    for label, text in _beside(exercise):
        yield from _fact(label, text, width)
    for said, meaning in explained([exercise.title, *(each.count for each in found.meetings)]):
        yield from _fact("counts", f"{said} is {meaning}", width)
    yield []
    yield from _rates(at_tempos)
    yield from _meetings(exercise, found, width)
    yield []
    for label, text in _facts(found):
        yield from _fact(label, text, width)
    for warning in found.warnings:
        yield from _fact("too much?", warning, width, "warning")


def _header(at_tempos: Sequence[Exercise]) -> str:
    exercise = at_tempos[0]
    parts = [str(exercise.meter), tempo_words(at_tempos)]
    if not exercise.swing.is_straight:
        parts.append(swung(exercise.swing))
    if exercise.variant.lead:
        parts.append(f"{exercise.variant.lead} leads")
    return ", ".join(filter(None, (*parts, counted_in(exercise))))


def _returns(exercise: Exercise) -> str:
    text = returns(exercise)
    if exercise.bars != exercise.returns_after_bars:
        text += f"; {exercise.bars} bars are written"
        if exercise.loop_start:
            text += ", the loop goes back to " + bars_named(
                [int(exercise.loop_start / exercise.meter.bar) + 1]
            )
    return text


def _beside(exercise: Exercise) -> Iterator[tuple[str, str]]:
    """Who plays along, and to which chords, the first time round them."""
    if exercise.tracks:
        yield "beside you", "; ".join(track.title for track in exercise.tracks)
    if exercise.chords:
        yield "chords", " | ".join(" ".join(bar) for bar in chord_bars(exercise))


def _played_on(bars: Bars) -> Iterator[tuple[str, str]]:
    said = []
    for name, voice in bars.main_voice.items():
        label = bars.labels.get(name)
        who = f"{label}: {name} on" if label else name
        keys = "".join(f", {key} = {other}" for other, key in bars.voice_keys[name].items())
        said.append(f"{who} {voice}{keys}")
    if said:
        yield "played on", "; ".join(said)


def _rates(at_tempos: Sequence[Exercise]) -> Iterator[Spans]:
    """Strokes a second of each limb: on average, and at most."""
    shown = [demands(each) for each in _some(at_tempos, MOST_TEMPOS)]
    if not shown[0].limbs:
        return
    heads = "".join(f"{f'at {float(asked.tempo):g} bpm':>13}" for asked in shown)
    yield [("strokes a second: on average, and at most", "label")]
    yield [(" " * (LABELS - 4) + heads, "faint")]
    for i, each in enumerate(shown[0].limbs):
        cells = ""
        for asked in shown:
            rate = asked.limbs[i]
            most = f"{float(rate.peak):.1f}" if rate.peak else "-"
            cells += f"{float(rate.per_second):>7.1f}{most:>6}"
        yield [(f"{each.limb.title:<{LABELS - 4}}{cells}", "")]


def _some(items: Sequence[Exercise], most: int) -> Sequence[Exercise]:
    """The first, the last and some between, evenly."""
    if len(items) <= most:
        return items
    return [items[round(i * (len(items) - 1) / (most - 1))] for i in range(most)]


def _meetings(exercise: Exercise, found: Insight, width: int) -> Iterator[Spans]:
    table = hands_and_feet(found.meetings)
    playing = {each.limb for each in found.demands.limbs}
    hands = [hand for hand in HANDS if hand in playing]
    feet = [foot for foot in FEET if foot in playing]
    if not hands or not feet:
        return
    yield []
    yield [("hands meet feet", "label")]
    several = exercise.returns_after_bars > 1
    for hand in hands:
        for foot in feet:
            met = table[hand, foot]
            where = _where(met, several) if met else "never"
            count = f"{len(met)} times: " if len(met) > 1 else "once: " if met else ""
            yield from _fact(f"{hand.letter} + {foot.letter}", count + where, width, "")


def _where(met: Sequence[Meeting], several: bool) -> str:
    """Places in the bar; in which bars, where there are several; like bars drawn together."""
    by_bar: dict[int, list[str]] = {}
    for each in met:
        by_bar.setdefault(each.bar, []).append(each.count)
    alike: dict[tuple[str, ...], list[int]] = {}
    for bar, places in by_bar.items():
        alike.setdefault(tuple(places), []).append(bar)
    if not several:
        return "  ".join(places for group in alike for places in group)
    said = [f"{bars_named(bars)}: {' '.join(places)}" for places, bars in alike.items()]
    more = f"; and so on in {len(said) - 6} more" if len(said) > 6 else ""
    return "; ".join(said[:6]) + more


def _facts(found: Insight) -> Iterator[tuple[str, str]]:
    asked = found.demands
    if asked.endless and asked.run_hand:
        hands = sum(each.limb.is_hand for each in asked.limbs)
        alone = " alone" if hands == 1 else ""
        yield "longest run", f"the {asked.run_hand.title} plays{alone} throughout"
    elif asked.longest_run == 1:
        yield "longest run", "1, no hand plays twice in a row"
    elif asked.run_hand:
        graced = any(each.grace_notes for each in asked.limbs)
        counted = ", grace notes counted" if graced else ""
        yield "longest run", f"{asked.longest_run} with the {asked.run_hand.title}{counted}"
    mixed = len({each.limb.is_hand for each in asked.limbs}) > 1
    if mixed or asked.unisons:
        share = round(100 * asked.unison_share)
        yield "unisons", f"{asked.unisons} of {asked.moments} moments ({share}%)"
    lines = [f"{line.name} {_short(line.per_bar)}" for line in found.syncopation.lines]
    yield "syncopation", f"{', '.join(lines)}; a bar, 0 is none ({MEASURE})"
    # Which hands alone strike together, or feet alone, is seen in the sticking.
    telling = [part for part in found.difficulty.hardest if mixed or part.name != "combinations"]
    hardest = [part.why for part in telling[:HARDEST] if part.points >= SLIGHT]
    score = f"{found.difficulty.score:.1f} by our own rule of thumb, 0 is easiest"
    yield "how hard", f"{score}: {'; '.join(hardest)}" if hardest else score


def _short(value: Fraction) -> str:
    """A number with one decimal at most."""
    return f"{float(value):.1f}".removesuffix(".0")


def _fact(label: str, text: str, width: int, style: str = "label") -> Iterator[Spans]:
    """A label and its text, wrapped with the text's left edge kept."""
    lines = wrap(text, max(width - LABELS, 20), break_long_words=False, break_on_hyphens=False) or [
        ""
    ]
    for number, line in enumerate(lines):
        head = label if number == 0 else ""
        yield [(f"{head:<{LABELS}}", style), (line, "warning" if style == "warning" else "")]
