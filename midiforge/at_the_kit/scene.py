"""Where a session at the kit is: what its screen, its ear and its way all read."""

from dataclasses import dataclass
from enum import StrEnum

from midiforge.frozen import frozen
from midiforge.hear.arriving import Came
from midiforge.practice.entry import Entry
from midiforge.practice.teacher import Coming, Task


class Mode(StrEnum):
    """What the player does at the moment."""

    READY = "get ready"
    DELAY = "strike with the click"
    LISTEN = "listen"
    COUNT = "count in"
    PLAY = "play"
    REST = "rest"
    END = "the end"


@frozen
class Outcome:
    """What came of a stretch of playing.

    task: that was played. entry: what the log keeps of it. is_good: whether it was good for its
        exercise. said: what happened, in one sentence; lacking: what it lacks to be good, the first
        thing; "" for nothing.
    after: what comes then; the same task to go on as it is, and None for another turn.
    file: of the take; "" where none could be written. trouble: why something of it could not be
        kept, told once.
    """

    task: Task
    entry: Entry
    is_good: bool
    said: str
    lacking: str
    after: Task | None
    file: str = ""
    trouble: str = ""


@dataclass
class Scene:
    """Where a session is.

    elapsed: seconds since it began. seconds: how long it is to be.
    task: what is played, or comes next. coming: what is about to change, as against what was.
    round: which time round, from 1; last: whether its turn is over after it.
    left: seconds until a rest is over.
    marks: what became of each due of the last round, in order; extra: what came besides.
    outcome: of the last stretch. hears: whether there is a kit's input; nothing: for how many
        stretches nothing came from it. hurts: whether the player said so.
    """

    seconds: float
    mode: Mode = Mode.READY
    elapsed: float = 0.0
    task: Task | None = None
    coming: Coming = Coming.NEXT
    round: int = 0
    last: bool = False
    left: float = 0.0
    marks: tuple[Came, ...] = ()
    now: tuple[Came, ...] = ()
    outcome: Outcome | None = None
    hears: bool = True
    nothing: int = 0
    hurts: bool = False
    delay_ms: float | None = None
    changes: int = 0
