"""midiforge kit learn"""

import os
import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from queue import Empty, SimpleQueue
from typing import TYPE_CHECKING, Annotated

import typer

from midiforge.command.run import on_terminal
from midiforge.errors import MidiforgeError
from midiforge.printable import printable

if TYPE_CHECKING:
    from midiforge.kit import Kit
    from midiforge.live.learn import Learning
    from midiforge.live.watched_input import WatchedInput

kit_app = typer.Typer(
    name="kit",
    no_args_is_help=True,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"]},
    help="Kit files: which note a voice is.",
)

_WAIT = 0.02  # seconds from one look at the time to the next
_LATEST = 10_000  # messages that wait; a port that floods gets no more
_NOTHING = 10.0  # seconds without a message before we ask about the port

_OPEN, _CLOSE = "\x1b[?1049h\x1b[?25l", "\x1b[?25h\x1b[?1049l"
_HOME, _CLEAR_LINE, _CLEAR_BELOW = "\x1b[H", "\x1b[K", "\x1b[J"
_LOUD, _FAINT, _NORMAL = "\x1b[1m", "\x1b[2m", "\x1b[0m"


@kit_app.callback()
def _kit() -> None:
    pass


@kit_app.command()
def learn(
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The kit file to write.")],
    port: Annotated[
        str, typer.Option("--port", metavar="NAME", help="The input: part of its name, or number.")
    ] = "",
    virtual: Annotated[
        bool, typer.Option("--virtual", help="Open a virtual input for others to connect to.")
    ] = False,
    starts_from: Annotated[
        str,
        typer.Option("--starts-from", metavar="KIT", help="The kit that says all the rest."),
    ] = "general-midi-1",
    voices: Annotated[
        str, typer.Option("--voices", metavar="LIST", help="Only these voices, in this order.")
    ] = "",
    controls: Annotated[
        str,
        typer.Option(
            "--controls", metavar="LIST", help="Then bind these, such as pause,next; all."
        ),
    ] = "",
    as_lines: Annotated[bool, typer.Option("--plain", help="Lines instead of a screen.")] = False,
) -> None:
    """Learn a kit: a voice is named, you hit its pad three times, the notes go into a kit file.

    A pad with zones that are one voice: hit them in turn. A roll on any pad asks for the one
    before again; three strokes of the bass drum skip what is asked, twelve in a row all voices
    that are left.
    """
    from midiforge.kit import read_kit
    from midiforge.live.learn import Learning
    from midiforge.live.learn_steps import controls_asked, voices_asked
    from midiforge.live.watched_input import WatchedInput

    learning = Learning.of(voices_asked(voices), controls_asked(controls))
    out = out if out.suffix else out.with_suffix(".toml")
    base = read_kit(starts_from)
    named = _named_in(out, starts_from)
    _may_write(out)
    messages: SimpleQueue[tuple[bytes, int]] = SimpleQueue()

    def hear(message: bytes, when: int) -> None:
        if messages.qsize() < _LATEST:
            messages.put((message, when))

    ear = WatchedInput("the kit's input", port, [hear], virtual=virtual)
    name = printable(ear.name)
    try:
        screen = not as_lines and on_terminal(sys.stdout) and on_terminal(sys.stdin)
        _run(learning, ear, messages, screen)
    except (KeyboardInterrupt, SystemExit):
        if learning.found or learning.bound:
            unfinished = out.with_stem(f"{out.stem}-unfinished") if out.exists() else out
            _keep(learning, base, named, unfinished, name)
            print("stopped before the end: what was learnt until then is kept")
        else:
            print("nothing was learnt; no file is written")
        raise
    finally:
        ear.close()
    if not learning.found and not learning.bound:
        raise MidiforgeError("nothing was learnt; no file is written")
    _keep(learning, base, named, out, name)


# The way through


def _run(
    learning: "Learning",
    ear: "WatchedInput",
    messages: "SimpleQueue[tuple[bytes, int]]",
    screen: bool,
) -> None:
    """Asks, hears and shows until all is done."""
    from midiforge.live.keyboard import single_keys

    with ExitStack() as held:
        if screen:
            held.enter_context(single_keys())
            held.enter_context(_picture())
        shown: list[str] = []
        begun = time.monotonic()
        while not learning.done:
            with suppress(Empty):
                learning.heard(*messages.get(timeout=_WAIT))
                for _ in range(_LATEST):
                    learning.heard(*messages.get_nowait())
            learning.until(time.monotonic_ns())
            ear.look()
            if screen:
                _keys(learning)
            hint, name = "", printable(ear.name) or "the virtual input"
            if ear.gone:
                hint = f"{name} is gone; plug it in again, it goes on from here"
            elif not learning.anything_heard and time.monotonic() - begun > _NOTHING:
                hint = f"nothing heard yet from {name}"
            shown = _draw(learning, hint, shown) if screen else _tell(learning, hint, shown)


def _keys(learning: "Learning") -> None:
    from midiforge.live.keyboard import pressed
    from midiforge.live.route import Command

    for command in pressed():
        if command is Command.NEXT:
            learning.skip()
        elif command is Command.PREVIOUS:
            learning.back()
        elif command is Command.AGAIN:
            learning.again()
        elif command is Command.QUIT:
            learning.finish()


# What is seen


@contextmanager
def _picture() -> Iterator[None]:
    """The terminal's other page, and back."""
    _write(_OPEN)
    try:
        yield
    finally:
        with suppress(OSError):
            _write(_NORMAL + _CLOSE)


def _draw(learning: "Learning", hint: str, shown: list[str]) -> list[str]:
    """Shows the state if it changed; gives what is shown."""
    size = shutil.get_terminal_size()
    lines = _lines(learning, hint, size.columns)[: size.lines]
    now_shown = [*lines, str(size)]
    if now_shown != shown:
        _write(_HOME + "\r\n".join(f"{line}{_CLEAR_LINE}" for line in lines) + _CLEAR_BELOW)
    return now_shown


def _lines(learning: "Learning", hint: str, width: int) -> list[str]:
    step, wide = learning.step, width - 4
    boxes = "  ".join("[x]" if i < learning.strokes else "[ ]" for i in range(3))
    pads = "roll on any pad: the one before again"
    if learning.can_skip_by_pad():
        pads = "bass drum 3 times: skip   12 times: skip all   " + pads
    return [
        "",
        f"  {_FAINT}{learning.number} of {len(learning.steps)}{_NORMAL}",
        "",
        f"  {_LOUD}{_cut(step.title.upper(), wide)}{_NORMAL}",
        "",
        f"  {_cut(step.how, wide)}",
        "",
        f"  {_LOUD}{boxes}{_NORMAL}",
        "",
        f"  {_cut(hint or learning.message, wide)}",
        f"  {_FAINT}{_cut(learning.latest, wide)}{_NORMAL}",
        "",
        f"  {_FAINT}{_cut(pads, wide)}{_NORMAL}",
        f"  {_FAINT}{_cut('n skip   p the one before   a from the start   q end', wide)}{_NORMAL}",
    ]


def _tell(learning: "Learning", hint: str, shown: list[str]) -> list[str]:
    """Prints what is new, a line each; gives the hint, so that it comes once."""
    news, learning.news = learning.news, []
    if hint and [hint] != shown:
        news.append(hint)
    for line in news:
        print(line, flush=True)
    return [hint]


def _cut(text: str, width: int) -> str:
    return text if len(text) <= width else text[: max(width - 4, 0)] + " ..."


def _write(text: str) -> None:
    left = text.encode("utf-8", "replace")
    while left:
        left = left[os.write(sys.stdout.fileno(), left) :]


# The file


def _may_write(out: Path) -> None:
    """MidiforgeError if what is there is not ours to replace, or nothing can be written there."""
    from midiforge.disk import check_replaceable
    from midiforge.live.learnt_kit import made_here

    if not out.parent.is_dir():
        raise MidiforgeError("there is no such folder", "--out", str(out.parent))
    if not os.access(out.parent, os.W_OK):
        raise MidiforgeError("nothing can be written into this folder", str(out.parent))
    check_replaceable(out, made_here)


def _named_in(out: Path, starts_from: str) -> str:
    """How the new file names the kit it starts from; never itself, not even by way of others."""
    from midiforge.disk import read_toml

    found = _file_of(starts_from, Path())
    if found is None:
        return starts_from
    path: Path | None = found
    for _ in range(16):
        if path is None:
            break
        if path.resolve() == out.resolve():
            raise MidiforgeError(
                "would start from itself", str(out), "--starts-from", hint="name another --out"
            )
        path = _file_of(str(read_toml(path).get("starts_from", "")), path.parent)
    try:
        return Path(os.path.relpath(found.resolve(), out.parent.resolve())).as_posix()
    except ValueError:  # on another drive
        return found.resolve().as_posix()


def _file_of(name: str, folder: Path) -> Path | None:
    """The file of a kit that does not come with midiforge."""
    from midiforge.kit import ENDING, kit_names

    if not name or name in kit_names():
        return None
    paths = (folder / name, folder / f"{name}{ENDING}")
    return next((path for path in paths if path.is_file()), None)


def _keep(learning: "Learning", base: "Kit", starts_from: str, out: Path, port: str) -> None:
    """Writes the file, beside what may have come there meanwhile; says what is in it."""
    from midiforge.disk import write_aside
    from midiforge.live.hihat_pedal import openness, runs_backwards
    from midiforge.live.learnt_kit import kit_file

    title = f"{out.stem}, learnt from {port}" if port else out.stem
    text = kit_file(learning, base, starts_from, out.stem, title)
    try:
        out = _free(out)
        write_aside(out, text)
    except MidiforgeError:
        print(text)  # so that it is not lost
        raise
    controls = f", controls: {len(learning.bound)}" if learning.bound else ""
    print(f"{printable(str(out))}: voices: {len(learning.found)}{controls}")
    if pedal := openness(learning.found):
        print(
            f"hi-hat: controller {pedal['controller']}, open below {pedal['open_below']}, "
            f"closed above {pedal['closed_above']}"
        )
    elif runs_backwards(learning.found):
        print("hi-hat: its controller rises as it opens, which a kit file cannot say; left out")


def _free(out: Path) -> Path:
    """The file, or one beside it if something not ours has come there."""
    for path in (out, *(out.with_stem(f"{out.stem}-{number}") for number in range(2, 100))):
        with suppress(MidiforgeError):
            _may_write(path)
            return path
    raise MidiforgeError("no file can be written there", str(out))
