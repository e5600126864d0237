"""Writing an exercise down: its bars, voices, notes, marks, and what is said above them."""

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from operator import attrgetter

from midiforge.errors import MidiforgeError
from midiforge.model.counts import counts
from midiforge.model.exercise import Exercise, by_piece
from midiforge.model.hit import CLICK, FEET, HANDS, Hit, Limb, OrnamentKind, Strength
from midiforge.notation.chords import ChordSign, chord_signs
from midiforge.notation.returns import bars_round, heard_only
from midiforge.notation.rhythm import write_bar
from midiforge.notation.rolls import Roll, rolls
from midiforge.notation.score import (
    FEET_VOICE,
    HANDS_VOICE,
    PLAYERS_VOICES,
    Bar,
    Group,
    Head,
    Note,
    Passage,
    Score,
    Value,
    Voice,
)
from midiforge.notation.sign import foot_sign, on_one_line, sign_of
from midiforge.notation.swells import hairpins

SECTION_WORDS = {
    "entry": "First time only",
    "time": "Time",
    "call": "Call",
    "response": "Response: you alone",
}
CLOSED_HIHAT = "hihat-closed"
HIHATS = (CLOSED_HIHAT, "hihat-half", "hihat-open")
_MOST_COUNTED = 8  # parts of a beat; nobody counts finer ones aloud
_LIMB_ORDER = {limb: place for place, limb in enumerate(HANDS)}


def scores(exercises: Iterable[Exercise]) -> Iterator[Score]:
    """The scores of exercises in running order, one for each piece.

    Raises MidiforgeError, naming the exercise and the bar, for what a staff cannot show.
    """
    return map(write, by_piece(exercises))


def write(exercises: Sequence[Exercise]) -> Score:
    """The score of an exercise at one tempo or several."""
    first = exercises[0]
    try:
        return _write(first, tuple(exercises))
    except MidiforgeError as error:
        raise error.within(f"exercise {first.number}, {first.title}") from None


def unwritten(exercises: Sequence[Exercise]) -> Score:
    """The score without its bars, and in a tenth of the time: its exercises, and what stands above
    their staff."""
    in_bar = _written_hits(exercises[0])
    hits = [hit for bar in in_bar.values() for hit in bar]
    names = _voice_names(hits, _is_linear(exercises[0], in_bar))
    return Score(tuple(exercises), (), _above(names))


def _above(names: Sequence[str]) -> tuple[str, ...]:
    return tuple(name for name in names if name not in PLAYERS_VOICES)


def _write(exercise: Exercise, at_tempos: tuple[Exercise, ...]) -> Score:
    entry = exercise.loop_bar
    last = min(entry + bars_round(exercise), exercise.bars)
    in_bar = _written_hits(exercise)
    is_linear = _is_linear(exercise, in_bar)
    hits = [hit for bar in in_bar.values() for hit in bar]
    names = _voice_names(hits, is_linear)
    rolled: list[Roll] = []
    if exercise.piece.writing.rolls == "slashes":
        for first, beyond in ((0, entry), (entry, last)):
            some = [hit for number in range(first, beyond) for hit in in_bar.get(number, ())]
            hands = [hit for hit in some if _voice_name(hit, is_linear) == HANDS_VOICE]
            rolled += rolls(sorted(hands, key=attrgetter("time")))
    closing = _closing(hits, is_open=entry == 0 and _ends_open(in_bar.get(last - 1, [])))
    voices = []
    for number in range(last):
        start = number * exercise.meter.bar
        try:
            struck = _by_voice(in_bar.get(number, []), start, is_linear)
            voices.append(
                tuple(
                    _voice(
                        name,
                        exercise,
                        start,
                        struck.get(name, {}),
                        closing,
                        rolled if name == HANDS_VOICE else (),
                    )
                    for name in names
                )
            )
        except MidiforgeError as error:
            raise error.within(f"bar {number + 1}") from None
    bars = _bars(exercise, voices, entry)
    times = max((exercise.bars - entry) // max(last - entry, 1), 1)
    passages = [Passage(tuple(bars[:entry]))] if entry else []
    passages.append(Passage(tuple(bars[entry:]), times))
    return Score(at_tempos, tuple(passages), _above(names))


def _written_hits(exercise: Exercise) -> dict[int, list[Hit]]:
    """What is written, by the number of its bar from 0."""
    unwritten = {CLICK, *heard_only(exercise)}
    bars: dict[int, list[Hit]] = {}
    for hit in (*exercise.hits, *exercise.answers):
        if hit.layer not in unwritten and 0 <= hit.time < exercise.length:
            bars.setdefault(int(hit.time // exercise.meter.bar), []).append(hit)
    return bars


def _bars(exercise: Exercise, voices: Sequence[tuple[Voice, ...]], entry: int) -> list[Bar]:
    """The bars with all that is said over and under their notes."""
    chords = chord_signs(exercise) if exercise.chords else [()] * len(voices)
    words, swells = _words(exercise), hairpins(exercise)
    bars: list[Bar] = []
    for number, own in enumerate(voices):
        said = words.get(number, "")
        said = "" if number and said == words.get(number - 1, "") else said
        signs = chords[number]
        if number in (0, entry):
            signs = tuple(replace(sign, goes_on=False) for sign in signs)
        before = bars[-1] if bars and number != entry else None
        bar = Bar(
            number=number + 1,
            voices=own,
            words=said,
            is_repeat=before is not None and not said and own == before.voices,
            chords=signs,
            repeats_chords=before is not None and _sounding(signs) == _sounding(before.chords),
            hairpin=swells[number],
            counts=_counts(exercise, own),
        )
        bars.append(bar)
    return bars


def _sounding(signs: Iterable[ChordSign]) -> list[tuple[Fraction, str]]:
    return [(sign.time, sign.symbol) for sign in signs]


def _counts(exercise: Exercise, voices: Iterable[Voice]) -> tuple[tuple[Fraction, str], ...]:
    """What is counted aloud in a bar: the grid's steps, or those that the player's strokes lie on.

    Such as triplets in a bar of time before sixteenths. Where no division of the beat that can be
    counted has all strokes, it is the grid's.
    """
    meter, grid = exercise.meter, exercise.step
    strokes = [
        note.start
        for voice in voices
        if voice.name in PLAYERS_VOICES
        for note in voice.notes
        if not note.is_rest
    ]
    finer = [meter.beat / parts for parts in range(1, _MOST_COUNTED + 1)]
    fits = (
        step
        for step in (grid, *finer)
        if all((length / step).denominator == 1 for length in (meter.bar, *meter.beat_lengths))
        and all((time / step).denominator == 1 for time in strokes)
    )
    step = next(fits, grid)
    return tuple((i * step, said) for i, said in enumerate(counts(meter, step)))


def _words(exercise: Exercise) -> dict[int, str]:
    """What is to be said of a bar, by its number from 0."""
    bar = exercise.meter.bar
    kinds = {section.kind for section in exercise.sections}
    words = {**SECTION_WORDS, **({"exercise": "Exercise"} if "time" in kinds else {})}
    bars: dict[int, str] = {}
    if exercise.loop_start and "entry" not in kinds:
        bars[0] = SECTION_WORDS["entry"]
    for section in exercise.sections:
        first, last = (int(at / bar) for at in (section.start, section.start + section.length))
        for number in range(first, last) if section.kind in words else ():
            before, said = bars.get(number), words[section.kind]
            bars[number] = f"{before}: {said.lower()}" if before else said
    return bars


def _is_linear(exercise: Exercise, bars: Mapping[int, Sequence[Hit]]) -> bool:
    """Whether hands and feet share a voice: unless the drill says so, where they take turns.

    What repeats beside the phrase is another line, and has another voice.
    """
    writing = exercise.piece.writing.voices
    if writing != "usual":
        return writing == "one"
    hits = [hit for bar in bars.values() for hit in bar]
    hands, feet = ({hit.time for hit in hits if hit.limb in limbs} for limbs in (HANDS, FEET))
    return bool(feet) and hands.isdisjoint(feet) and not (exercise.feet or exercise.hands)


def _voice_names(hits: Iterable[Hit], is_linear: bool) -> list[str]:
    """The voices that are written: time layers and timelines on top, then hands, then feet."""
    names = dict.fromkeys(_voice_name(hit, is_linear) for hit in hits)
    own = [name for name in PLAYERS_VOICES if name in names]
    return [*(name for name in names if name not in own), *own]


def _voice_name(hit: Hit, is_linear: bool) -> str:
    if hit.limb is None:
        return hit.layer
    return HANDS_VOICE if is_linear or hit.limb.is_hand else FEET_VOICE


def _by_voice(
    hits: Iterable[Hit], start: Fraction, is_linear: bool
) -> dict[str, dict[Fraction, list[Hit]]]:
    """What each voice of the bar that begins at `start` strikes, by the time from the bar line."""
    voices: dict[str, dict[Fraction, list[Hit]]] = {}
    for hit in hits:
        voices.setdefault(_voice_name(hit, is_linear), {}).setdefault(hit.time - start, []).append(
            hit
        )
    return voices


def _voice(
    name: str,
    exercise: Exercise,
    start: Fraction,
    struck: Mapping[Fraction, Sequence[Hit]],
    closing: Collection[Fraction],
    rolled: Sequence[Roll],
) -> Voice:
    """A voice of the bar that begins at `start`; struck: what it strikes, from the bar line."""
    here = [roll for roll in rolled if roll.start < start + exercise.meter.bar and start < roll.end]
    lengths = {max(roll.start - start, Fraction(0)): roll.end - start for roll in here}
    lengths = {time: end - time for time, end in lengths.items()}
    inner = {hit.time - start for roll in here for hit in roll.within(roll.start, roll.end)} - {0}
    groups = []
    for cell in write_bar(exercise.meter, sorted(struck.keys() - inner), lengths):
        notes: list[Note] = []
        for blank in cell.notes:
            note = blank if blank.is_rest else _note(blank, struck[blank.start], closing)
            if rolled and not note.is_rest:
                note = _rolled(note, start, rolled)
            notes += _no_hollow_cross(note) if cell.tuplet is None else [note]
        groups.append(Group(cell.start, cell.length, cell.tuplet, tuple(notes)))
    return Voice(name, tuple(groups))


def _rolled(note: Note, bar: Fraction, rolls: Iterable[Roll]) -> Note:
    """The note; as part of a roll it goes on with strokes and ties, or is its release."""
    start, end = bar + note.start, bar + note.start + note.length
    for roll in rolls:
        if roll.start <= start < roll.end:
            return replace(
                note,
                rolled=tuple((hit.time - bar, _head(hit)) for hit in roll.within(start, end)),
                is_tied=end < roll.end or roll.is_released,
                goes_on=roll.start < start,
            )
        if start == roll.end and roll.is_released:
            note = replace(note, goes_on=True)  # and another roll may begin with it
    return note


def _no_hollow_cross(note: Note) -> list[Note]:
    """The note; if it is longer than a quarter and no round one, a quarter and rests.

    Crosses that are hollow are other signs to many readers.
    """
    plain = all(head.sign.head == "normal" for head in note.heads)
    if plain or note.rolled or note.value.name not in ("half", "whole"):
        return [note]
    short = replace(note, length=Fraction(1), value=Value("quarter"))
    rests = []
    at, left = note.start + 1, note.length - 1
    for length, name in ((Fraction(1), "quarter"), (Fraction(2), "half")):
        if left >= length and (left / length) % 2:
            rests.append(Note(at, length, Value(name), is_rest=True))
            at, left = at + length, left - length
    return [short, *rests]


def _note(blank: Note, struck: Sequence[Hit], closing: Collection[Fraction]) -> Note:
    hits = sorted(struck, key=lambda hit: _LIMB_ORDER.get(hit.limb, 9))  # type: ignore[arg-type]
    heads = sorted((_head(hit) for hit in hits), key=lambda head: head.sign.place)
    closes = struck[0].time in closing and any(hit.limb in HANDS for hit in struck)
    ornaments = [hit.ornament for hit in hits if hit.ornament]
    grace = tuple(
        Head(sign_of(ornament.voice), ornament.voice, False, ornament.limb.letter)
        for ornament in ornaments
        if ornament.limb
        for _ in range(ornament.grace_notes)
    )
    return Note(
        blank.start,
        blank.length,
        blank.value,
        tuple(heads),
        is_accented=any(hit.strength is Strength.ACCENT for hit in hits),
        mark=next((head.sign.mark for head in heads if head.sign.mark), "closed" * closes),
        is_buzz=any(ornament.kind is OrnamentKind.BUZZ for ornament in ornaments),
        grace=grace,
    )


def _head(hit: Hit) -> Head:
    ghost, accent = hit.strength is Strength.GHOST, hit.strength is Strength.ACCENT
    if hit.limb is None:
        return Head(on_one_line(hit.voice), hit.voice, ghost, "", accent)
    if hit.limb.is_hand:
        return Head(sign_of(hit.voice), hit.voice, ghost, hit.limb.letter, accent)
    sign = foot_sign(hit.voice, is_left=hit.limb is Limb.LEFT_FOOT)
    moved = hit.limb.title if sign != sign_of(hit.voice) else ""
    return Head(sign, hit.voice, ghost, "", accent, moved)


def _ends_open(hits: Iterable[Hit]) -> bool:
    """Whether the hi-hat is open at the end of a bar, and so where the seam leads back to."""
    struck = [hit.voice for hit in hits if hit.limb and hit.voice in HIHATS]
    return bool(struck) and struck[-1] != CLOSED_HIHAT


def _closing(hits: Iterable[Hit], is_open: bool) -> set[Fraction]:
    """When the hands close the hi-hat, which is said: at the first closed stroke after an open."""
    hands: dict[Fraction, set[str]] = {}
    for hit in hits:
        if hit.limb in HANDS:
            hands.setdefault(hit.time, set()).add(hit.voice)
    closing = set()
    for time in sorted(hands):
        if any(sign_of(voice).mark for voice in hands[time]):
            is_open = True
        elif is_open and CLOSED_HIHAT in hands[time]:
            closing.add(time)
            is_open = False
    return closing
