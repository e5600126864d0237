"""Where a session at the kit is, as the page is told of it."""

from fractions import Fraction
from typing import Any

from midiforge.at_the_kit.scene import Mode, Scene
from midiforge.at_the_kit.words import became, coming_words, sentences
from midiforge.library.shelf import voice
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS
from midiforge.model.tempo import plain
from midiforge.practice.plan import clock
from midiforge.stave import PlayedOn, Stave


def scene_told(scene: Scene, message: str, waits: bool) -> dict[str, Any]:
    """All that changes while it goes on, of JSON's own kinds. message: what the player's rooms have
    to say; waits: whether it does, for the player or for a port."""
    task = scene.task
    return {
        "mode": scene.mode,
        "elapsed": clock(Fraction(int(scene.elapsed))),
        "of": clock(Fraction(round(scene.seconds))),
        "phase": task.phase if task else "",
        "drill": task.drill if task else "",
        "now": _now(scene, waits),
        "last": scene.last,
        "counts": scene.mode in (Mode.COUNT, Mode.PLAY, Mode.LISTEN, Mode.DELAY) and not waits,
        "lines": [*map(list, sentences(scene, message))],
        "marks": _marks(scene),
        "extra": sum(came.kind == "extra" for came in scene.marks) if scene.hears else 0,
        "hears": scene.hears,
        "hurts": scene.hurts,
        "waits": waits,
    }


def _now(scene: Scene, waits: bool) -> str:
    """What to do, in a word or two, beside the count."""
    if waits:
        return "paused"
    words = {
        Mode.READY: "ready",
        Mode.END: "the end",
        Mode.REST: f"rest {clock(Fraction(round(scene.left)))}",
        Mode.LISTEN: "listen",
        Mode.DELAY: "strike with the click",
        Mode.COUNT: coming_words(scene),
        Mode.PLAY: "last" if scene.last else "",
    }
    return words[scene.mode]


def _marks(scene: Scene) -> list[list[Any]]:
    """What became of what was due in the last round, then of what was in this one: when it was due,
    in quarter notes from the first downbeat; its pad; what it became; how many ms off."""
    task = scene.task
    if task is None or not scene.hears or scene.mode not in (Mode.PLAY, Mode.COUNT):
        return []
    swing, bar = task.exercise.swing, task.exercise.meter.bar
    return [
        [
            round(float(swing.played((due.bar - 1) * bar + due.place, due.hit.grid)), 4),
            due.pad,
            became(came),
            round(came.off_ms or 0.0, 1),
        ]
        for came in (*scene.marks, *scene.now)
        if (due := came.due) is not None
    ]


def exercise_told(exercise: Exercise) -> dict[str, Any]:
    """What is read of an exercise beside its staff."""
    on = Stave(exercise, beside=False).played_on
    tempo = f", {plain(exercise.tempo.first)}" if exercise.tempo.is_steady else ""
    return {
        "number": str(exercise.number),
        "title": f"{exercise.title}{tempo}",
        "hands": [[hand.title, _titles(on[hand.title])] for hand in HANDS if hand.title in on],
    }


def _titles(on: PlayedOn) -> str:
    """What a hand is on, as one says it; no figures stand on the page's staff."""
    return " and ".join(voice(name).title for name in (on.main, *on.others))
