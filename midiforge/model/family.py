"""Families: pieces that differ in one thing, as a book sets them under one heading."""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Generic, TypeVar

from midiforge.frozen import frozen
from midiforge.model.exercise import Exercise, by_piece
from midiforge.model.meter import Meter
from midiforge.model.piece import Variant

STICKING = "the sticking"
Tempos = tuple[Exercise, ...]  # the exercises of a piece
T = TypeVar("T")


@frozen
class Features:
    """What families are told by: of a piece that is written out, or only known. tempos: as they
    are said, "b 76"."""

    title: str
    ending: str
    variant: Variant
    stage: str
    meter: Meter
    step: Fraction
    tempos: tuple[str, ...]


@frozen
class Family(Generic[T]):
    """Pieces that differ in one thing; or one that has no other of its kind.

    title: what is the same in them. thing: what is not, "where the sticking begins"; "" for one
        piece.
    pieces: each with its way, "from 1e", in running order; "" for one alone.
    """

    title: str
    thing: str
    pieces: tuple[tuple[str, T], ...]


def families(exercises: Iterable[Exercise]) -> Iterator[Family[Tempos]]:
    """The families of exercises in running order, each where its first piece stands."""
    return kindred([*by_piece(exercises)], _features)


def _features(tempos: Tempos) -> Features:
    first = tempos[0]
    at = tuple(exercise.tempo_said for exercise in tempos)
    own = first.title, first.ending, first.variant, first.stage, first.meter, first.step
    return Features(*own, at)


def kindred(pieces: Sequence[T], features_of: Callable[[T], Features]) -> Iterator[Family[T]]:
    """The families of pieces in running order, each where its first piece stands.

    Every piece is in one of them: in the largest that it can be in, of moved ones first, and of the
    move that changes faster.
    """
    features = [*map(features_of, pieces)]
    moved = (moved for own in features for moved in own.variant.moves)
    every = [*dict.fromkeys(one.thing for one in moved if one.thing)][::-1]
    # What is one way in all of them tells none from another.
    things = [thing for thing in every if len({_way(thing, own) for own in features}) > 1]
    alike: dict[tuple[object, ...], dict[int, str]] = {}
    for place, own in enumerate(features):
        for thing in (*things, STICKING):
            alike.setdefault(_but_for(thing, own), {})[place] = _way(thing, own)
    left = dict.fromkeys(range(len(features)))
    for first, own in enumerate(features):
        if first not in left:
            continue
        thing, ways = "", {"": first}
        for tried in (*things, STICKING):
            if tried == STICKING and thing:
                break
            kin = alike[_but_for(tried, own)]
            fellows = {way: place for place, way in reversed(kin.items()) if place in left}
            if len(fellows) > len(ways):
                thing, ways = tried, fellows
        for place in ways.values():
            del left[place]
        members = sorted((place, way) for way, place in ways.items())
        title = _title(thing, own) if thing else own.title
        yield Family(title, thing, tuple((way, pieces[place]) for place, way in members))


def _but_for(thing: str, own: Features) -> tuple[object, ...]:
    """The same for pieces that differ in nothing but this thing, and are taught at one tempo."""
    variant = own.variant.without(thing)
    known = own.step if thing == STICKING else variant.sticking
    values = tuple((moved.move, moved.value) for moved in variant.moves)
    return thing, bool(variant.sticking), known, own.stage, own.meter, values, own.tempos


def _way(thing: str, own: Features) -> str:
    return own.variant.said if thing == STICKING else own.variant.way(thing)


def _title(thing: str, own: Features) -> str:
    variant = own.variant.without(thing)
    if thing == STICKING:
        variant = replace(variant, said="Stickings")
    return f"{variant}, {own.ending}"
