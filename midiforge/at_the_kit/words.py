"""What is said in a session, on whatever screen."""

from collections.abc import Iterator
from enum import StrEnum

from midiforge.at_the_kit.scene import Mode, Outcome, Scene
from midiforge.hear.arriving import Came
from midiforge.hear.limits import TOGETHER_MS
from midiforge.live.playing.controls import Command
from midiforge.model.tempo import plain
from midiforge.practice.teacher import Coming

# What a player may ask for in a session, on whatever screen.
WISHES = (
    Command.PAUSE,
    Command.NEXT,
    Command.AGAIN,
    Command.SLOWER,
    Command.FASTER,
    Command.HURTS,
    Command.QUIT,
)
REST = "Put the sticks down, stand up, rest your hands and ears."
NOTHING = "Nothing comes from the kit: is it the right input?"
NO_KIT = "No kit on MIDI: the plan goes by the clock. Nothing you play is logged, only what hurts."
NOT_FASTER = "Nothing gets faster today: it hurt."
PAIN = (
    "Stop if it stays or comes back, and ask a doctor or physiotherapist. "
    "Nothing gets faster today."
)


class Became(StrEnum):
    """What became of a stroke that was due."""

    IN_TIME = "in time"
    EARLY = "early"
    LATE = "late"
    MISSED = "missed"
    ELSEWHERE = "elsewhere"  # on another drum, or at another place


def became(came: Came) -> Became:
    """What became of what was due."""
    if came.kind == "missed":
        return Became.MISSED
    if came.kind in ("moved", "pulled"):
        return Became.ELSEWHERE
    off = came.off_ms or 0.0
    if abs(off) < TOGETHER_MS:
        return Became.IN_TIME
    return Became.EARLY if off < 0 else Became.LATE


def outcome_words(outcome: Outcome) -> tuple[str, str]:
    """Whether it was good, and what happened: first what it lacks."""
    if outcome.is_good or not outcome.lacking:
        return ("Good" if outcome.is_good else "Not yet"), outcome.said
    return "Not yet", f"{outcome.lacking}. {outcome.said}"


def coming_words(scene: Scene) -> str:
    """What is about to change, such as "faster 80"."""
    if scene.task and scene.coming in (Coming.FASTER, Coming.SLOWER):
        return f"{scene.coming} {plain(scene.task.exercise.tempo.first)}"
    return scene.coming


def sentences(scene: Scene, message: str = "") -> Iterator[tuple[str, str]]:
    """What there is to read, each with what it is headed by; "" for nothing. message: what the
    player's rooms have to say."""
    mode, outcome, task = scene.mode, scene.outcome, scene.task
    if mode is Mode.REST:
        yield "", PAIN if scene.hurts else REST
    elif mode is Mode.LISTEN:
        yield "", "This is how it goes; then you play it."
    elif mode is Mode.DELAY:
        yield "", "Hear four clicks, then strike with each: it tells how late strokes come."
    if message:
        yield "", message
    if scene.nothing:
        yield "", NOTHING
    # While another exercise is played, what became of the one before would seem its own.
    other = outcome and task and task.exercise.title != outcome.task.exercise.title
    if outcome is not None and not (other and mode in (Mode.COUNT, Mode.PLAY)):
        yield outcome_words(outcome)
    if task is not None and mode in (Mode.READY, Mode.LISTEN, Mode.COUNT):
        yield "Now", f"{task.said}: {task.why}" if task.why else task.said
