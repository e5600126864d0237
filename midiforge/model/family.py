"""Families: pieces that differ in one thing, as a book sets them under one heading."""

from collections.abc import Iterable, Iterator
from dataclasses import replace

from midiforge.frozen import frozen
from midiforge.model.exercise import Exercise, by_piece

STICKING = "the sticking"
Tempos = tuple[Exercise, ...]  # the exercises of a piece


@frozen
class Family:
    """Pieces that differ in one thing; or one that has no other of its kind.

    title: what is the same in them. thing: what is not, "where the sticking begins"; "" for one
        piece.
    pieces: each with its way, "from 1e", in running order; "" for one alone.
    """

    title: str
    thing: str
    pieces: tuple[tuple[str, Tempos], ...]

    @property
    def exercises(self) -> Iterator[Exercise]:
        """All of them, piece by piece."""
        for _, tempos in self.pieces:
            yield from tempos


def families(exercises: Iterable[Exercise]) -> Iterator[Family]:
    """The families of exercises in running order, each where its first piece stands.

    Every piece is in one of them: in the largest that it can be in, of moved ones first, and of the
    move that changes faster.
    """
    pieces = [*by_piece(exercises)]
    moved = (moved for tempos in pieces for moved in tempos[0].variant.moves)
    things = [*dict.fromkeys(one.thing for one in moved if one.thing)][::-1]
    alike: dict[tuple[object, ...], dict[int, str]] = {}
    for place, tempos in enumerate(pieces):
        for thing in (*things, STICKING):
            alike.setdefault(_but_for(thing, tempos), {})[place] = _way(thing, tempos[0])
    left = dict.fromkeys(range(len(pieces)))
    for first, tempos in enumerate(pieces):
        if first not in left:
            continue
        thing, ways = "", {"": first}
        for tried in (*things, STICKING):
            if tried == STICKING and thing:
                break
            kin = alike[_but_for(tried, tempos)]
            fellows = {way: place for place, way in reversed(kin.items()) if place in left}
            if len(fellows) > len(ways):
                thing, ways = tried, fellows
        for place in ways.values():
            del left[place]
        members = sorted((place, way) for way, place in ways.items())
        title = _title(thing, tempos[0]) if thing else tempos[0].title
        yield Family(title, thing, tuple((way, pieces[place]) for place, way in members))


def _but_for(thing: str, tempos: Tempos) -> tuple[object, ...]:
    """The same for pieces that differ in nothing but this thing, and are taught at one tempo."""
    exercise = tempos[0]
    variant = exercise.variant.without(thing)
    own = exercise.step if thing == STICKING else variant.sticking
    values = tuple((moved.move, moved.value) for moved in variant.moves)
    at = tuple(exercise.tempo_said for exercise in tempos)
    return thing, bool(variant.sticking), own, exercise.stage, exercise.meter, values, at


def _way(thing: str, exercise: Exercise) -> str:
    return exercise.variant.said if thing == STICKING else exercise.variant.way(thing)


def _title(thing: str, exercise: Exercise) -> str:
    variant = exercise.variant.without(thing)
    if thing == STICKING:
        variant = replace(variant, said="Stickings")
    return f"{variant}, {exercise.ending}"
