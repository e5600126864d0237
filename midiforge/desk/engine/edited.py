"""The way through a lesson that is written while it plays: what was changed is heard from the next
round on."""

from collections.abc import Callable, Sequence
from dataclasses import replace

from midiforge.live.playing.controls import Chosen, Wish
from midiforge.live.playing.route import Place, Route
from midiforge.model.exercise import Exercise


class Edited:
    """A way (`live.playing.route.Way`) along one state of a lesson, and then along another.

    digest: the name of the state that is played.
    """

    def __init__(self, route: Route, digest: str) -> None:
        self.digest = digest
        self._route = route
        self._new: tuple[Route, str] | None = None
        self._place: Place | None = None
        self._waiting: Callable[[], None] = lambda: None

    @property
    def exercises(self) -> Sequence[Exercise]:
        """Those of the state that is played."""
        return self._route.exercises

    def give(self, route: Route, digest: str) -> None:
        """Another state, for the next round that its music is ready for; from any thread."""
        self._new = route, digest

    @property
    def waiting(self) -> Callable[[], None]:
        """Called again and again while what is needed now is still being made."""
        return self._waiting

    @waiting.setter
    def waiting(self, waiting: Callable[[], None]) -> None:
        self._waiting = self._route.waiting = waiting

    def next_bar(self, *wishes: Wish) -> Place | None:
        """As of a route."""
        place, new = self._place, self._new
        if place and new and not wishes:
            route, digest = new
            route.begin_with(counterpart(place, route.exercises))
            if route.ready() and place.bar.number == place.playable.last:
                self._route, self.digest, self._new = route, digest, None
                route.waiting = self._waiting
                return self._went(self._turned(place, route))
        return self._went(self._route.next_bar(*wishes))

    @staticmethod
    def _turned(place: Place, route: Route) -> Place | None:
        """The first bar of a new state, where a round of the one before is over."""
        if place.ends:  # the exercise after it
            return route.next_bar(Chosen(route.index + 1))
        first = route.loop_bar()
        is_other_band = first.playable.exercise.band != place.playable.exercise.band
        return replace(first, begins=True) if is_other_band else first

    def same_bar(self, *wishes: Wish) -> Place:
        """As of a route."""
        place = self._place = self._route.same_bar(*wishes)
        return place

    def from_the_top(self) -> Place:
        """As of a route."""
        place = self._place = self._route.from_the_top()
        return place

    def upcoming(self) -> Exercise | None:
        """As of a route."""
        return self._route.upcoming()

    def ready(self, *wishes: Wish) -> bool:
        """As of a route."""
        return self._route.ready(*wishes)

    def _went(self, place: Place | None) -> Place | None:
        self._place = place
        return place


def counterpart(place: Place, exercises: Sequence[Exercise]) -> Chosen:
    """What an exercise has become in another state of its lesson: that of its title and tempo, else
    of its number, else of its place; at the tempo that was asked for, if the written one is as it
    was."""
    before = place.playable.exercise
    written = before.tempo.first - place.faster
    index = min(place.index, len(exercises) - 1)
    for i, it in enumerate(exercises):
        if (it.title, it.tempo.first) == (before.title, written):
            return Chosen(i, before.tempo.first)
        if it.number == before.number:
            index = i
    stays = exercises[index].tempo.first == written
    return Chosen(index, before.tempo.first if stays else None)
