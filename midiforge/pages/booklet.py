"""What a lesson's booklet says, whatever it is printed on: entries, key, legend, cautions."""

import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from itertools import groupby

from midiforge.engraving.cut import cut, key_piece
from midiforge.engraving.drawing import Piece, Setting
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.piece_drawing import GRACE_LETTERS
from midiforge.engraving.widths import Layout
from midiforge.frozen import frozen
from midiforge.insight.loop import hands_and_feet, meetings
from midiforge.insight.words import counted_in, explained, paragraphs, repeats, swung
from midiforge.library import shelf
from midiforge.model.band import NO_CHORD
from midiforge.model.counts import spoken
from midiforge.model.exercise import Exercise
from midiforge.model.family import Family, Tempos, families
from midiforge.model.hit import CLICK, FEET, HANDS, Limb
from midiforge.model.meter import Meter
from midiforge.model.number import numbers_said
from midiforge.model.rounds import shortened
from midiforge.model.tempo import plain
from midiforge.notation.returns import bars_round, heard_only
from midiforge.notation.score import PLAYERS_VOICES, Score
from midiforge.notation.write import write
from midiforge.pages.names import UNNAMED, Names
from midiforge.printable import listed, many

ABOUT = (
    "Play each exercise round and round from the repeat sign, slowly at first, and go on to the "
    "next tempo when it sits well. The numbers give the order, and are those of the MIDI files."
)
CAUTIONS = (
    "Ears: drums and headphones can damage hearing for good. Keep the volume moderate, the click "
    "no louder than it must be, and give your ears pauses.",
    "Hands, wrists, back, feet: warm up, begin slowly, rest a few minutes in every half hour. A "
    "tempo on this page is an offer, not an order.",
    "Stop when it hurts, tingles or goes numb. If it comes back, or your ears ring, ask a doctor, "
    "an audiologist or a physiotherapist who knows musicians.",
)
PLACES = (
    "Hands stems up, feet stems down; where they take turns, all up. Places on the staff after "
    "N. Weinberg, Guidelines for Drumset Notation, Percussive Notes, June 1994."
)
_GRACES = re.compile(r"(?<![a-z])l+(?=[RL])")
_MOST_MEETINGS = 6
_MOST_WAYS = 50  # letters
_MOST_HEARD = 32  # bars, or pages to listen to would grow large
_MUSIC_NOTES = {"quarter": "♩", "dotted quarter": "♩.", "eighth": "♪", "dotted eighth": "♪."}


@frozen
class Entry:
    """One exercise at its tempos: what it has of its own within its family.

    number: its numbers, as the MIDI files have them: "5", "5a-b".
    anchor: a name for links, "n13".
    title: its own, whole. way: in what it differs from its family, "from 1e"; "" for one alone.
    tempos: as numbers in words, "76", without the letters that the family tells.
    job, facts, text: as `Group` has them.
    """

    number: str
    anchor: str
    title: str
    way: str
    tempos: tuple[str, ...]
    job: str
    facts: tuple[str, ...]
    text: tuple[str, ...]
    score: Score
    setting: Setting


@frozen
class Group:
    """A family of exercises under one heading, with what is the same in all; or one alone.

    number: all their numbers, "2, 4, 6".
    anchor: of the first of them.
    job: what is new and what to mind, in a line or two.
    tempos: as numbers in words, each behind its letter, "b 76"; a single one such as "60 to 84"
        for a ramp.
    feel: what stands beside the tempos: which notes swing; "" for straight ones.
    facts: what else stands above the music: count-in, what plays along.
    text: the teacher's own, below the music, in paragraphs.
    """

    number: str
    anchor: str
    title: str
    job: str
    pulse: str
    tempos: tuple[str, ...]
    feel: str
    facts: tuple[str, ...]
    text: tuple[str, ...]
    entries: tuple[Entry, ...]

    @property
    def ways(self) -> tuple[str, ...]:
        """What tells them apart, as the practice order lists it: "from 1", "1e", "1&"; () for one
        alone, or if there is no room for it."""
        said = [entry.way.split(" ") for entry in self.entries]
        begins = 0
        if not any("," in entry.way for entry in self.entries):
            for word, *others in zip(*(words[:-1] for words in said), strict=False):
                if not (word.isalpha() and word.islower() and {*others} == {word}):
                    break
                begins += 1
        first, *others = said
        ways = (" ".join(first), *(" ".join(words[begins:]) for words in others))
        return ways if 0 < sum(map(len, ways)) <= _MOST_WAYS else ()


@frozen
class KeySign:
    """A sign on the staff and what is struck."""

    piece: Piece
    title: str


@frozen
class Booklet:
    """A lesson, ready to be set on pages.

    text: the teacher's own, under the title, in paragraphs.
    legend: (sign, what it means).
    glyphs: outlines of the music signs that occur.
    key_height: of the pieces of the key.
    """

    title: str
    names: Names
    text: tuple[str, ...]
    groups: tuple[Group, ...]
    key: tuple[KeySign, ...]
    key_height: float
    legend: tuple[tuple[str, str], ...]
    glyphs: dict[str, str]

    @property
    def entries(self) -> tuple[Entry, ...]:
        """All exercises, as they stand on the pages."""
        return tuple(entry for group in self.groups for entry in group.entries)


def booklet(
    title: str,
    text: str,
    exercises: Iterable[Exercise],
    engraver: Engraver,
    layout: Layout,
    names: Names = UNNAMED,
    engraved: Callable[[int], object] = lambda _: None,
) -> Booklet:
    """The booklet of a lesson; MidiforgeError for what a staff cannot show.

    engraved: as for `group_of`.
    """
    groups = tuple(
        group_of(
            family,
            [write(tempos) for _, tempos in family.pieces],
            engraver,
            layout,
            engraved=engraved,
        )
        for family in families(exercises)
    )
    entries = [entry for group in groups for entry in group.entries]
    key, key_height = _key(entries, engraver)
    return Booklet(
        title=title,
        names=names,
        text=tuple(paragraphs(text)),
        groups=groups,
        key=key,
        key_height=key_height,
        legend=tuple(_legend(entries)),
        glyphs=dict(engraver.glyphs),
    )


def group_of(
    family: Family[Tempos],
    scores: Sequence[Score],
    engraver: Engraver,
    layout: Layout,
    only: slice = slice(None),
    engraved: Callable[[int], object] = lambda _: None,
) -> Group:
    """A family as it is told and engraved.

    scores: of its pieces. only: which of them are engraved, where not all are shown at once.
    engraved: told how many exercises more are, piece by piece.
    """

    def setting(score: Score) -> Setting:
        made = cut(score, engraver, layout)
        engraved(len(score.exercises))
        return made

    jobs, same_jobs = _apart([*job(score.exercise, family.thing)] for score in scores)
    facts, same_facts = _apart([*_facts(score)] for score in scores)
    texts, same_texts = _apart(paragraphs(score.exercise.text) for score in scores)
    if family.thing:
        same_jobs.insert(0, f"From one to the next only this changes: {family.thing}.")
    entries = tuple(
        Entry(
            number=numbers_said(exercise.number for exercise in score.exercises),
            anchor=_anchor(score.exercise),
            title=score.exercise.title,
            way=_set(way),
            tempos=tuple(exercise.pulses_said for exercise in score.exercises),
            job=" ".join(own_jobs),
            facts=tuple(own_facts),
            text=tuple(own_text),
            score=score,
            setting=setting(score),
        )
        for (way, _), score, own_jobs, own_facts, own_text in [
            *zip(family.pieces, scores, jobs, facts, texts, strict=True)
        ][only]
    )
    exercise = scores[0].exercise
    return Group(
        number=numbers_said(each.number for score in scores for each in score.exercises),
        anchor=_anchor(exercise),
        title=_set(family.title),
        job=" ".join(same_jobs),
        pulse=pulse_sign(exercise.meter),
        tempos=tuple(exercise.tempo_said for exercise in scores[0].exercises),
        feel="" if exercise.swing.is_straight else swung(exercise.swing),
        facts=tuple(same_facts),
        text=tuple(same_texts),
        entries=entries,
    )


def _anchor(exercise: Exercise) -> str:
    return f"n{exercise.number.piece}"


def _set(words: str) -> str:
    """A title or a part of one, with small letters as below the staff: "llR" begins with no 11."""
    return _GRACES.sub(lambda graces: GRACE_LETTERS["L"] * len(graces[0]), words)


def _apart(said: Iterable[Sequence[str]]) -> tuple[list[list[str]], list[str]]:
    """What each says alone, and what all of them say."""
    first, *others = lines = [*said]
    same = [line for line in first if all(line in own for own in others)]
    return [[line for line in own if line not in same] for own in lines], same


def pulse_sign(meter: Meter) -> str:
    """The note a tempo counts, as a sign where letters have one, else in words."""
    return _MUSIC_NOTES.get(meter.pulse_name, meter.pulse_name)


# What is new in an exercise


def job(exercise: Exercise, thing: str = "") -> Iterator[str]:
    """What is new in an exercise, and what to mind, one sentence each.

    thing: what is not told, since what changes within a family is told beside each.
    """
    moves = sorted(exercise.variant.without(thing).moves, key=lambda moved: not moved.begins)
    limbs = {hit.limb for hit in (*exercise.hits, *exercise.answers) if hit.limb}
    hands, feet = limbs.intersection(HANDS), limbs.intersection(FEET)
    if not hands:
        feet_begin = [
            f"; they begin on {spoken(moved.count)}"
            for moved in moves
            if moved.of_feet and moved.sentence
        ]
        yield f"Feet alone, until they run without a thought{''.join(feet_begin)}."
        yield from (moved.sentence for moved in moves if moved.sentence and not moved.of_feet)
        return
    does = listed([moved.does for moved in moves if moved.does])
    manner = ", ".join(moved.manner for moved in moves if moved.manner)
    if does:
        yield f"The sticking {', '.join(filter(None, (does, manner)))}."
    elif manner:
        yield f"The sticking is played {manner}."
    yield from (moved.sentence for moved in moves if moved.sentence and (feet or not moved.of_feet))
    if feet:
        yield from _meetings(exercise)


def _meetings(exercise: Exercise) -> Iterator[str]:
    """Where a hand meets a foot, if that can be said in a line."""
    if exercise.returns_after_bars != 1:
        return
    said = []
    for (hand, foot), met in hands_and_feet(meetings(exercise)).items():
        if 0 < len(met) <= _MOST_MEETINGS:
            where = listed([meeting.count for meeting in met])
            said.append(f"{hand.letter} with the {_FOOT_WORDS[foot]} on {where}")
    if said:
        yield f"Together: {'; '.join(said)}."


_FOOT_WORDS = {Limb.RIGHT_FOOT: "right foot", Limb.LEFT_FOOT: "left foot"}


def _facts(score: Score) -> Iterator[str]:
    exercise = score.exercise
    if exercise.feet:
        yield f"feet: {exercise.feet}"
    if exercise.hands:
        yield exercise.hands
    if score.above:
        above = [_in_a_list(score.title_above(name)) for name in score.above]
        yield f"above the staff: {listed(above)}"
    heard = heard_only(exercise)
    titles = [_in_a_list(member.title) for member in exercise.band if member.name in heard]
    if titles:
        yield f"the band: {listed(titles)}"
    if before := counted_in(exercise):
        yield before
    yield from _repeats(exercise)
    if not exercise.tempo.is_steady:
        yield _ramp(exercise)
    yield from _gap(exercise)
    if exercise.dynamics.points:
        yield _levels(exercise)


def _repeats(exercise: Exercise) -> Iterator[str]:
    """After how many bars what is written repeats, each on its own where they differ."""
    bars, said = bars_round(exercise), repeats(exercise)
    if said.startswith("strokes"):
        yield said.replace("strokes", "strokes repeat", 1)
    elif bars > 1:
        yield f"repeats every {bars} bars"


def _in_a_list(title: str) -> str:
    """Such as "Congas (tumbao)" for "Congas, tumbao", whose comma would part it from itself."""
    name, comma, kind = title.partition(", ")
    return f"{name} ({kind})" if comma else name


def _ramp(exercise: Exercise) -> str:
    (start, first), (following, second) = exercise.tempo.changes[:2]
    bars = (following - start) / exercise.meter.bar
    way = "up" if second > first else "down"
    every = "every bar" if bars == 1 else f"every {bars} bars"
    return f"{way} by {plain(abs(second - first))} {every}"


def _gap(exercise: Exercise) -> Iterator[str]:
    """When the click is silent, if it comes and goes."""
    bar = exercise.meter.bar
    clicked = {hit.time // bar for hit in exercise.hits if hit.layer == CLICK}
    with_click = {number for number in clicked if number >= 0}
    if not with_click:
        yield "no click after the count-in" if clicked else "no click"
        return
    runs = [len(list(run)) for _, run in groupby(n in with_click for n in range(exercise.bars))]
    if len(runs) > 1 and 0 in with_click:
        yield f"click: {many(runs[0], 'bar')} on, {runs[1]} off"


def _levels(exercise: Exercise) -> str:
    points = exercise.dynamics.points
    first, last = points[0][1], points[1][1] if len(points) > 1 else points[0][1]
    if points[0][0] == 0 and first != last and points[1][0] > 0:
        bars = (points[1][0] - points[0][0]) / exercise.meter.bar
        return f"gets {'louder' if last > first else 'softer'} over {bars} bars, each time"
    return "softer every second time"


# The key


def _key(entries: Sequence[Entry], engraver: Engraver) -> tuple[tuple[KeySign, ...], float]:
    """Every sign that occurs, the player's from the lowest, then those above the staff."""
    scores = [entry.score for entry in entries]
    own = dict.fromkeys(
        (head.sign, head.voice, head.foot)
        for score in scores
        for head in score.heads(*PLAYERS_VOICES)
    )
    above = dict.fromkeys(
        (head.sign, head.voice, _ABOVE) for score in scores for head in score.heads(*score.above)
    )
    voices = shelf.voices()
    key, heights = [], [0.0]
    for sign, name, where in (*sorted(own, key=lambda head: (head[0].place, head[1])), *above):
        piece, height = key_piece(sign, engraver, is_above=where == _ABOVE)
        title = voices[name].title if name in voices else name
        key.append(KeySign(piece, f"{title}, {where}" if where else title))
        heights.append(height)
    return tuple(key), max(heights)


_ABOVE = "above the staff"


def _legend(entries: Sequence[Entry]) -> Iterator[tuple[str, str]]:
    passages = [passage for entry in entries for passage in entry.score.passages]
    bars = [bar for passage in passages for bar in passage.bars]
    notes = [note for bar in bars for voice in bar.voices for note in voice.notes]
    marks = {note.mark for note in notes}
    ghosts = [head for note in notes for head in note.heads if head.is_ghost]
    buzzes = [note for note in notes if note.is_buzz]
    rolled = [note for note in notes if note.rolled]
    most = max((len(note.grace) for note in notes), default=0)
    kinds = listed(["flam", "drag", "ruff"][: min(most, 3)])
    similes = [piece for entry in entries for piece in entry.setting.pieces if piece.is_simile]
    silent = any(sign.text == NO_CHORD for bar in bars for sign in bar.chords)
    swells = any(bar.hairpin for bar in bars)
    goes_round = any(passage.times > 1 for passage in passages)
    counts = explained(text for entry in entries for text in _counts(entry))
    for occurs, sign, meaning in (
        (any(n.sticking for n in notes), "R  L", "right hand, left hand; bold with an accent"),
        (any(n.is_accented for n in notes), ">", "accent"),
        (ghosts, "( )", "ghost note, as soft as it can be heard"),
        (
            most,
            "{L}R  {R}L".format(**GRACE_LETTERS),
            f"small note first, by the hand in the small letter: {kinds}",
        ),
        (buzzes, "z", "buzz: press the stick into the head"),
        (rolled, "/", "roll: every slash or beam halves the note; the letters are its strokes"),
        *((True, *count) for count in counts),
        ("open" in marks, "o", "hi-hat open"),
        ("half-open" in marks, "o with a line", "hi-hat half open"),
        ("closed" in marks, "+", "hi-hat closed again"),
        (silent, NO_CHORD, "no chord: the others play none until the next symbol"),
        (swells, "p  f", "soft, loud; between them louder and louder, or softer and softer"),
        (similes, "%", "the strokes of the bar before once more"),
        (goes_round, "2 times", "how often the MIDI file plays it; go round as long as you like"),
    ):
        if occurs:
            yield sign, meaning


def _counts(entry: Entry) -> Iterator[str]:
    """What has counts in it, on a page."""
    for moved in entry.score.exercise.variant.moves:
        yield from (moved.count, str(moved.value))
    yield from (entry.score.exercise.feet, *job(entry.score.exercise))


def once_round(exercise: Exercise) -> Exercise:
    """The exercise just once: a late entry, if any, and one time round of all that is heard.

    Through all the tempos of a ramp, and all the gaps of its click. Of a band that repeats late or
    never, no more than what is written.
    """
    if not exercise.tempo.is_steady:
        return exercise
    bars = bars_round(exercise, {CLICK, *(member.name for member in exercise.band)})
    return shortened(exercise, bars if bars <= _MOST_HEARD else bars_round(exercise, {CLICK}))
