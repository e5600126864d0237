"""What is heard of what comes: bars of silence, a click of its own for the last round, and short
figures on a sound that the exercise does not use."""

from collections.abc import Iterable
from dataclasses import replace
from fractions import Fraction

from midiforge.kits.kit import Kit
from midiforge.live.playing.bars import Bar, Moment, NoteOn, moments_of
from midiforge.model.exercise import Exercise
from midiforge.model.hit import CLICK
from midiforge.practice.teacher import Coming

SECOND = Fraction(1_000_000_000)
# Pairs of a low and a high sound; the first that the kit has and the exercise does not use.
_PAIRS = (
    ("agogo-low", "agogo-high"),
    ("timbale-low", "timbale-high"),
    ("bongo-low", "bongo-high"),
    ("cowbell", "triangle"),
    ("tom-low", "tom-high"),
)
# Which of the two, one after the other: it goes up for faster, down for slower, stays for again.
_FIGURES = {
    Coming.FASTER: "LH",
    Coming.SLOWER: "HL",
    Coming.AGAIN: "LL",
    Coming.NEXT: "LHH",
    Coming.CHANGED: "HLH",
    Coming.WHOLE: "LLH",
}
_APART, _LOUD = 0.2, 100  # seconds between the notes of a figure; their velocity


def silent(seconds: Fraction = Fraction(1)) -> Bar:
    """A while in which nothing sounds."""
    return Bar(-1, seconds, Fraction(60), SECOND, ())


def clicked(times: int, tempo: int, click: NoteOn) -> Bar:
    """So many beats, each with a click."""
    quarter = 60 * SECOND / tempo
    moments = tuple(Moment(float(i), (click,)) for i in range(times))
    return Bar(-1, Fraction(times), Fraction(tempo), quarter, moments)


def high_click(bars: Iterable[Bar]) -> NoteOn | None:
    """The click of a first beat; None if there is none."""
    for bar in bars:
        for moment in moments_of(bar.moments, CLICK):
            return moment.notes[0]
    return None


def last_round(bar: Bar, high: NoteOn | None) -> Bar:
    """The bar with the click of the first beat on every beat."""
    if high is None:
        return bar

    def same(moment: Moment) -> Moment:
        notes = (high if note.layer == CLICK else note for note in moment.notes)
        return Moment(moment.at, tuple(notes))

    return replace(bar, moments=tuple(map(same, bar.moments)))


def announced(bar: Bar, coming: Coming, kit: Kit, exercise: Exercise) -> Bar:
    """The bar with the figure of what comes at its beginning."""
    pair = _pair(kit, exercise)
    if pair is None:
        return bar
    apart = _APART * float(SECOND / bar.quarter)
    figure = [
        Moment(i * apart, (NoteOn(CLICK, pair[sound == "H"], _LOUD),))
        for i, sound in enumerate(_FIGURES[coming])
        if i * apart < bar.length
    ]
    joined: dict[float, Moment] = {}
    for moment in (*bar.moments, *figure):
        before = joined.get(moment.at)
        notes = (*before.notes, *moment.notes) if before else moment.notes
        joined[moment.at] = Moment(moment.at, notes)
    return replace(bar, moments=tuple(joined[at] for at in sorted(joined)))


def _pair(kit: Kit, exercise: Exercise) -> tuple[int, int] | None:
    used = {kit.notes.get(hit.voice) for hit in exercise.hits}
    for low, high in _PAIRS:
        if low in kit.notes and high in kit.notes:
            notes = kit.notes[low], kit.notes[high]
            if not used & {*notes}:
                return notes
    return None
