"""Which exercise of a drill a take is of: the one that is named, marked in it, or likeliest."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from midiforge.errors import MidiforgeError, WrongArgument, shortened
from midiforge.frozen import frozen
from midiforge.hear.accents import (
    A_STROKE,
    ITS_TEMPO,
    SAME_TEMPO,
    VERY_STRONG,
    Played,
    Strokes,
    gain,
    played,
    strokes,
)
from midiforge.hear.changed_over import changed_over
from midiforge.hear.expected import pad_of
from midiforge.hear.figures import begun_at
from midiforge.hear.known import LIKELIER_BY, Known, Other, is_hardly, likelier
from midiforge.hear.likely import CLEARLY_LIKE, Likely, in_common
from midiforge.hear.review import Review, likeness, review
from midiforge.hear.take import Take
from midiforge.kits.kit import Kit, kit_names, read_kit
from midiforge.midi.smf import as_written
from midiforge.model.exercise import Exercise, by_piece, nearest_tempo
from midiforge.model.number import Chooser, Named, Number, Span, read_named
from midiforge.uncollected import uncollected

# Of more exercises whose pads are like the take's so many are compared, by what follows what.
_MOST_COMPARED, _MOST_LOOKED_AT = 24, 12
_MOST_NAMED, _MOST_ALIKE = 3, 200
_CLEARLY_CLEAN = 0.75  # a take that is less clean may be of another exercise
_LIKE = 0.6  # of another kit, or with other hands: so much of the take must it explain
_OPENING = 2000  # strokes that are looked at to compare exercises
_IN_COMMON = 0.6  # at least so much of what the most fitting exercise shares with the take
_ALIKE = 0.02  # no further apart than this, nobody can tell which it is
_STRANGE = 0.1  # so many of the notes more must another kit know
_IN_REACH = 1.7  # a tempo so many times as fast or slow is heard for what it is
_NEARER = 0.02  # tempos that differ less, as a share, are one


Tempos = Sequence[Exercise]  # a piece at each of its tempos


@frozen
class Reviewed:
    """A review and what is known besides."""

    review: Review
    known: Known

    @property
    def is_it(self) -> bool:
        """Whether the take is of this exercise, on this kit, as far as can be told."""
        known = self.known
        other = likelier(self.review, known.others)
        another = known.likelier_kit or other or known.unsure or known.changed_over
        return not (another or is_hardly(self.review))


@uncollected()
def reviewed(
    take: Take,
    exercises: Sequence[Exercise],
    kit: Kit,
    number: str | int = "",
    delay_ms: float | None = None,
    others: Callable[[], Iterable[Tempos]] | None = None,
) -> Reviewed:
    """The review of a take as one of a drill's exercises.

    exercises: of the drill; those it can be, if that is known.
    number: of the exercise, "3b"; of a piece, "3", at the tempo nearest to that played. For "" the
        exercise that the take names, else the likeliest.
    delay_ms: between a stroke and its arrival, if it was measured.
    others: all pieces of the drill, if `exercises` are not; asked for where the take is not clearly
        of its exercise.
    Raises MidiforgeError if there is no such exercise, or the kit knows none of the notes.
    """
    lesson = [*by_piece(exercises)]
    if not lesson:
        raise MidiforgeError("the drill has no exercise")
    better = _likelier_kit(take, kit)
    if _strange(take, kit) == 1:
        _refuse(take, kit, better)
    unsure: tuple[Exercise, ...] = ()
    likely = Likely(take, kit)
    if str(number).strip():
        wish = _read(str(number), exercises)
        piece, chosen = _piece(lesson, wish), ""
        exercise = _first_guess(take, piece, likely, wish)
        named: Named | None = wish
    else:
        found = _found(take, lesson, kit, likely)
        exercise, chosen, unsure = found.exercise, found.chosen, found.unsure
        piece = _piece(lesson, exercise.number)
        named = take.exercise
    said = review(take, exercise, kit, delay_ms)
    meant = begun_at(said.thirds) if said.thirds else said.played_tempo
    nearest = _at_tempo((exercise, *piece), meant)
    if nearest is not exercise and not said.tempos:
        if named is None or not named.letter or exercise.number not in named:
            exercise = nearest
            said = review(take, exercise, kit, delay_ms)
        else:
            chosen = ", ".join(
                filter(None, [chosen, f"played at the tempo of exercise {nearest.number}"])
            )
    likelier_ones: list[Other] = []
    changed: Exercise | None = None
    if said.like < CLEARLY_LIKE or said.tally.clean < _CLEARLY_CLEAN:
        rest = [
            each for each in (others() if others else lesson) if each[0].piece != exercise.piece
        ]
        likelier_ones = list(_others(take, rest, kit, likely))[:_MOST_NAMED]
        best = max([said.like, *(each.like for each in likelier_ones)])
        better = better or _more_like(take, exercise, kit, best)
        some = (exercise, *(each.exercise for each in likelier_ones))
        changed = None if better else _changed_over(take, some, kit, best)
    return Reviewed(said, Known(likelier_ones, better, chosen, unsure, changed))


def _read(number: str, exercises: Sequence[Exercise]) -> Named:
    """A number that one of the exercises has; WrongArgument, naming the nearest, for any other."""
    try:
        named = read_named(number)
        chooser = Chooser([Span(named, named)])
        for each in exercises:
            chooser.takes(each.number)
        chooser.check()
    except MidiforgeError as error:
        raise WrongArgument(error.what, "number", hint=error.hint) from None
    return named


def _piece(lesson: Sequence[Tempos], number: Number | Named) -> Tempos:
    return next(each for each in lesson if each[0].number.piece == number.piece)


def _at_tempo(piece: Tempos, tempo: float) -> Exercise:
    return nearest_tempo(piece, tempo, _NEARER)


@frozen
class _Found:
    """The exercise of a take for which no number was given, how it was found, in words, and others
    that are as likely."""

    exercise: Exercise
    chosen: str
    unsure: tuple[Exercise, ...] = ()


def _found(take: Take, lesson: Sequence[Tempos], kit: Kit, likely: Likely) -> _Found:
    """The exercise of a take for which no number was given."""
    why = ""
    if take.exercise is not None:
        called = [piece for piece in lesson if take.title and is_called(piece[0].title, take.title)]
        for piece in lesson:
            if any(each.number in take.exercise for each in piece) and (
                is_called(piece[0].title, take.title)
            ):
                found = _first_guess(take, piece, likely, take.exercise)
                return _Found(found, "the exercise that the take names")
        if called:
            return _Found(
                _first_guess(take, called[0], likely),
                f"the exercise that the take names, as number {take.exercise} of another list",
            )
        what = f", {shortened(take.title)}" if take.title else ""
        why = f"the take names exercise {take.exercise}{what}, which the drill does not have; "
    if len(lesson) == 1:
        found = _first_guess(take, lesson[0], likely)
        return _Found(found, f"{why}the drill's only exercise" if why else "")
    others = list(_others(take, lesson, kit, likely, best=True))
    if not others:
        return _Found(
            _first_guess(take, lesson[0], likely), f"{why}no exercise of the drill is like the take"
        )
    alike = [each.exercise for each in others if each.like > others[0].like - _ALIKE]
    best, *unsure = _told_by_accents(take, alike, lesson, kit) if len(alike) > 1 else alike
    said = f"{why}the likeliest of {len(lesson)} exercises"
    if unsure:
        numbers = [str(each.number.whole) for each in unsure]
        said += f" (as likely: {', '.join(numbers[:_MOST_NAMED])})"
    return _Found(best, said, tuple(unsure))


def _told_by_accents(
    take: Take, alike: Sequence[Exercise], lesson: Sequence[Tempos], kit: Kit
) -> list[Exercise]:
    """The likeliest of exercises whose strokes are as like the take, and others as likely."""
    take = replace(take, strokes=take.strokes[:_OPENING])
    heard: dict[Strokes, Played | None] = {}
    merits: list[tuple[float, Exercise]] = []
    for exercise in alike[:_MOST_ALIKE]:
        key = strokes(exercise, kit)
        if key not in heard:
            heard[key] = played(take, exercise, kit)
        found = heard[key]
        if found is None:
            continue
        piece = _piece(lesson, exercise.number)
        apart = min(abs(found.tempo / float(each.tempo.first) - 1) for each in piece)
        merit = gain(found, exercise, kit) - A_STROKE * found.faults
        merits.append((merit + ITS_TEMPO * (apart <= SAME_TEMPO), exercise))
    # In whole figures, then in the drill's order, so that take after take is read alike.
    merits.sort(key=lambda each: (-round(each[0]), each[1].number))
    if not merits:
        return [*alike]
    most, best = merits[0]
    others = (each for merit, each in merits[1:] if merit > most - VERY_STRONG)
    return [best, *(each for each in others if each.hits != best.hits)]  # a stage that adds nothing


def is_called(ours: str, title: str) -> bool:
    """Whether a take's title is ours, as MIDI files write it; also where the take says none."""
    return not title or as_written(ours) == title


def _first_guess(take: Take, piece: Tempos, likely: Likely, named: Named | None = None) -> Exercise:
    """The exercise of a piece at the tempo that is named, else at the one that the file has, if it
    has one; else in the middle.

    Where the piece has tempos too far from that one, that of several which fits best.
    """
    if named and named.letter:
        return next(each for each in piece if each.number in named)
    several = _guesses(take, piece)
    return max(several, key=likely.fit) if len(several) > 1 else several[0]


def _guesses(take: Take, piece: Tempos) -> list[Exercise]:
    """Of a piece's tempos so few that each is in reach of one."""
    guess = piece[len(piece) // 2]
    if len(take.tempos) == 1:
        guess = _at_tempo(piece, take.tempos[0][1] / float(guess.tempo.pulse))
    several = [guess]
    for each in piece:
        tempos = (float(other.tempo.first / each.tempo.first) for other in several)
        if all(not 1 / _IN_REACH < tempo < _IN_REACH for tempo in tempos):
            several.append(each)
    return several


def _others(
    take: Take, lesson: Sequence[Tempos], kit: Kit, likely: Likely, best: bool = False
) -> Iterator[Other]:
    """How like the take each piece is, the likeliest first, at the tempo played.

    best: whether only those matter that are most like it.
    """
    take = replace(take, strokes=take.strokes[:_OPENING])
    struck = _pads_played(take, kit)
    same: dict[Strokes, list[Tempos]] = {}
    for piece in lesson:
        same.setdefault(strokes(piece[0], kit), []).append(piece)
    groups = [*same.values()]
    shared = [in_common(struck, _pads_asked(group[0][0], kit)) for group in groups]
    near = sorted(range(len(groups)), key=lambda i: -shared[i])
    compared = [groups[i] for i in near if shared[i] >= _IN_COMMON * shared[near[0]]]
    paces = {float(each.tempo.first * each.tempo.pulse) for group in compared for each in group[0]}
    if len(compared) > _MOST_COMPARED:
        of = {group[0][0].number: group for group in compared}
        some = likely.most_like([group[0][0] for group in compared], paces, _MOST_LOOKED_AT)
        compared = [of[each.number] for each in some]
    guesses = [each for group in compared for each in _guesses(take, group[0])]
    looked = {each.number.piece for each in likely.compare(guesses, paces, best)}
    found = []
    for group in compared:
        if group[0][0].number.piece not in looked:
            continue
        like = likely.like(_first_guess(take, group[0], likely))
        if like:
            found += [(like, _first_guess(take, piece, likely), piece) for piece in group]
    found.sort(key=lambda each: (-each[0], each[1].number))
    for i, (like, exercise, piece) in enumerate(found):
        if i < _MOST_NAMED and len(piece) > 1:
            exercise = _at_tempo(piece, likely.tempo(exercise))
        yield Other(exercise, like)


def _pads_played(take: Take, kit: Kit) -> Mapping[str, float]:
    counted: Counter[str] = Counter()
    for (number, pedal), times in _notes(take).items():
        voice = kit.voice(number, pedal)
        if voice:
            counted[pad_of(voice)] += times
    return _shares(counted)


def _pads_asked(exercise: Exercise, kit: Kit) -> Mapping[str, float]:
    hits = (*exercise.hits, *exercise.answers)
    return _shares(Counter(pad_of(kit.stand_in(hit.voice)) for hit in hits if hit.limb))


def _shares(counted: Counter[str]) -> Mapping[str, float]:
    total = sum(counted.values())
    return {pad: times / total for pad, times in counted.items()}


# Kits


def _notes(take: Take) -> Counter[tuple[int, int | None]]:
    return Counter((stroke.number, stroke.pedal) for stroke in take.strokes)


def _strange(take: Take, kit: Kit) -> float:
    """The share of a take's strokes whose notes a kit does not know."""
    unknown = sum(times for key, times in _notes(take).items() if kit.voice(*key) is None)
    return unknown / max(len(take.strokes), 1)


def _likelier_kit(take: Take, kit: Kit) -> str:
    """The kit among those that come along that knows clearly more of the notes; "" for none."""
    here = _strange(take, kit)
    if here <= _STRANGE:
        return ""
    strange = {name: _strange(take, read_kit(name)) for name in kit_names() if name != kit.name}
    best = min(strange, key=lambda name: strange[name], default="")
    return best if best and strange[best] < here - _STRANGE else ""


def _more_like(take: Take, exercise: Exercise, kit: Kit, like: float) -> str:
    """The kit by which the take is clearly more like the exercise; "" for none.

    Kits give one number to different drums, so that a wrong one may know every note.
    """
    if like + LIKELIER_BY > 1:
        return ""
    take = replace(take, strokes=take.strokes[:_OPENING])
    likes = {
        name: likeness(take, exercise, read_kit(name)) for name in kit_names() if name != kit.name
    }
    best = max(likes, key=lambda name: likes[name], default="")
    return best if best and likes[best] >= max(like + LIKELIER_BY, _LIKE) else ""


def _changed_over(
    take: Take, exercises: Sequence[Exercise], kit: Kit, like: float
) -> Exercise | None:
    """The exercise that with its hands changed over the take is clearly more like, if any."""
    take = replace(take, strokes=take.strokes[:_OPENING])
    best, most = None, like + LIKELIER_BY
    for exercise in exercises if most <= 1 else ():
        changed = changed_over(exercise)
        if changed and (found := likeness(take, changed, kit)) >= max(most, _LIKE):
            best, most = exercise, found
    return best


def _refuse(take: Take, kit: Kit, better: str) -> None:
    if not take.strokes:
        raise MidiforgeError("there is no stroke of a drummer in it", take.source)
    notes = ", ".join(str(number) for number in sorted({each.number for each in take.strokes})[:8])
    raise MidiforgeError(
        f"the kit {kit.name} knows none of the take's notes ({notes})",
        take.source,
        hint=f"the kit {better} looks likelier" if better else "name the kit it was played on",
    )
