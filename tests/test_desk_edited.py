"""A lesson that is written while it plays: what comes when a round is over."""

from fractions import Fraction
from pathlib import Path

from midiforge.desk.engine.edited import Edited
from midiforge.drill.read import drill_in
from midiforge.kits.kit import DEFAULT, read_kit
from midiforge.live.playing.bars import PlayableExercise, playable
from midiforge.live.playing.controls import Chosen, Command
from midiforge.live.playing.route import Place, Route
from midiforge.model.exercise import Exercise
from midiforge.session import Session

DRILL = 'sticking = "RLRR LRLL"\nplacements = "1, 1e"\nfeet = "samba"\nstages = "full"\n'


def exercises(more: str) -> list[Exercise]:
    return Session(drill_in(DRILL + more, Path("drill.toml")), None).to_play()


def route(more: str, times: int) -> Route:
    def make(exercise: Exercise, faster: Fraction) -> PlayableExercise:
        return playable(exercise, read_kit(DEFAULT), faster, None)

    return Route(exercises(more), make, lambda _: times)


def begun(way: Edited) -> Place:
    """The first bar of the first round, past the count-in."""
    while (place := way.next_bar()) and place.bar.number < 0:
        pass
    assert place
    return place


def round_after(way: Edited, place: Place) -> Place | None:
    """The bar that follows the last one of the round that a bar is in."""
    now: Place | None = place
    while now and now.bar.number < now.playable.last:
        now = way.next_bar()
    return way.next_bar()


def told(place: Place | None) -> tuple[str, Fraction, int]:
    assert place
    return str(place.playable.exercise.number), place.bar.tempo, place.bar.number


def test_the_same_exercise_goes_on_at_the_end_of_its_round_and_not_before() -> None:
    way = Edited(route('tempos = "80"', 0), "old")
    place = begun(way)
    way.give(route('tempos = "80"\naccents = "none"', 0), "new")
    assert way.digest == "old"
    assert told(round_after(way, place)) == ("1", 80, 0)
    assert way.digest == "new"


def test_an_exercise_keeps_its_tempo_where_another_comes_before_it() -> None:
    way = Edited(route('tempos = "80"', 0), "old")
    place = begun(way)
    way.give(route('tempos = "60, 80"', 0), "new")
    assert told(round_after(way, place)) == ("1b", 80, 0)


def test_a_tempo_that_was_asked_for_stays_unless_the_written_one_is_changed() -> None:
    for tempos, expected in (('tempos = "80"\naccents = "none"', 72), ('tempos = "90"', 90)):
        way = Edited(route('tempos = "80"', 0), "old")
        begun(way)
        place = way.next_bar(Chosen(None, Fraction(72)))
        assert place
        way.give(route(tempos, 0), "new")
        assert told(round_after(way, place))[1] == expected


def test_where_the_last_time_is_over_the_next_exercise_of_the_new_state_follows() -> None:
    way = Edited(route('tempos = "80"', 1), "old")
    place = begun(way)
    way.give(route('tempos = "80"\naccents = "none"', 1), "new")
    after = round_after(way, place)
    assert told(after)[0] == "2"
    assert way.digest == "new"


def test_an_exercise_that_is_gone_is_followed_by_the_last_there_is() -> None:
    way = Edited(route('tempos = "80"', 0), "old")
    begun(way)
    place = way.next_bar(Command.NEXT)
    assert place
    assert place.index == 1
    fewer = Route(exercises('tempos = "80"\naccents = "none"')[:1], way._route._make, lambda _: 0)
    way.give(fewer, "new")
    assert told(round_after(way, place))[0] == "1"
