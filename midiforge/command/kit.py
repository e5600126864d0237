"""midiforge kit learn"""

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from midiforge.command.app import SETTINGS
from midiforge.command.flags import new_file, own_flags
from midiforge.command.terminal import on_screen, say, say_text
from midiforge.errors import MidiforgeError

if TYPE_CHECKING:
    from collections.abc import Iterator
    from contextlib import AbstractContextManager

    from midiforge.kits.kit import Kit
    from midiforge.kits.learn.learn import Learning
    from midiforge.kits.learn.screen import Show

kit_app = typer.Typer(
    name="kit",
    no_args_is_help=True,
    add_completion=False,
    help="Kit files: which note a voice is.",
    **SETTINGS,
)


@kit_app.callback()
def _kit() -> None:
    pass


@kit_app.command()
@own_flags
def learn(
    out: Path,
    port: str = "",
    virtual: bool = False,
    starts_from: str = "general-midi-1",
    voices: str = "",
    controls: str = "",
    plain: bool = False,
) -> None:
    """Learn a kit: a voice is named, you hit its pad three times, the notes go into a kit file.

    A pad with zones that are one voice: hit them in turn. A roll on any pad asks for the one
    before again; three strokes of the bass drum skip what is asked, twelve in a row all voices
    that are left.

    --out FILE: The kit file to write.
    --port NAME: The input: part of its name, or number.
    --virtual: Open a virtual input for others to connect to.
    --starts-from KIT: The kit that says all the rest.
    --voices LIST: Only these voices, in this order.
    --controls LIST: Then bind these, such as pause,next; all.
    --plain: Lines instead of a screen.
    """
    from midiforge.kits.kit import read_kit
    from midiforge.kits.learn.kit_file import may_write, named_in, unfinished
    from midiforge.kits.learn.learn import Learning
    from midiforge.kits.learn.session import LearnSession
    from midiforge.kits.learn.steps import controls_asked, voices_asked

    learning = Learning.of(voices_asked(voices), controls_asked(controls))
    base, out = read_kit(starts_from), new_file(out)
    try:
        named = named_in(out, starts_from, Path())
    except MidiforgeError as error:
        raise MidiforgeError(error.what, *error.where, "--starts-from", hint=error.hint) from None
    may_write(out)
    session = LearnSession(learning, port, virtual)
    try:
        with _show(plain) as show:
            session.run(show)
    except (KeyboardInterrupt, SystemExit):
        if learning.pads or learning.bound:
            _keep(learning, base, named, unfinished(out), session.name)
            say("stopped before the end: what was learnt until then is kept")
        else:
            say("nothing was learnt; no file is written")
        raise
    finally:
        session.close()
    if not learning.pads and not learning.bound:
        raise MidiforgeError("nothing was learnt; no file is written")
    _keep(learning, base, named, out, session.name)


def _show(as_lines: bool) -> "AbstractContextManager[Show]":
    from midiforge.kits.learn.screen import learn_screen

    return learn_screen() if on_screen() and not as_lines else _in_lines()


@contextmanager
def _in_lines() -> "Iterator[Show]":
    """Prints what is new, a line each, and takes the keys; a hint or a message comes once."""
    from midiforge.kits.learn.screen import take_keys
    from midiforge.live.playing.controls import single_keys

    said = ["", ""]

    def show(learning: "Learning", hint: str) -> None:
        take_keys(learning)
        news, learning.news = learning.news, []
        now = [learning.message, hint]
        news += [new for new, before in zip(now, said, strict=True) if new and new != before]
        said[:] = now
        for line in news:
            say(line, flush=True)

    with single_keys():
        yield show


def _keep(learning: "Learning", base: "Kit", starts_from: str, out: Path, port: str) -> None:
    """Writes the file; says what is in it."""
    from midiforge.kits.learn.kit_file import learnt_text, learnt_words, write_learnt

    try:
        out = write_learnt(learning, base, starts_from, out, port)
    except MidiforgeError:
        say_text(learnt_text(learning, base, starts_from, out, port))  # so that it is not lost
        raise
    for line in learnt_words(learning, starts_from, str(out)):
        say(line)
