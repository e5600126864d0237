"""What somebody sees whose kit is learnt, large enough to be read from the drums, and the keys."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from functools import partial

from midiforge.kits.learn.kit_file import ending
from midiforge.kits.learn.learn import ENDS, SKIPS, Learning
from midiforge.kits.learn.strokes import STROKES
from midiforge.live.playing.controls import Command, pressed, single_keys
from midiforge.live.screen.terminal import (
    CLEAR_BELOW,
    CLEAR_LINE,
    CLOSE,
    FAINT,
    HOME,
    LOUD,
    OPEN,
    PLAIN,
    cut,
    flowed,
    without_air,
    write,
)

KEYS = ("n skip", "p the one before", "a from the start", "q end")

# Shows the state, and a hint that goes before what it has to say; called again and again.
Show = Callable[[Learning, str], None]


@contextmanager
def learn_screen() -> Iterator[Show]:
    """The terminal's other page; what is shown there also takes keys."""
    shown: list[str] = []

    def show(learning: Learning, hint: str) -> None:
        take_keys(learning)
        size = shutil.get_terminal_size()
        lines = without_air(_lines(learning, hint, size.columns), size.lines)
        if [*lines, str(size)] != shown:
            shown[:] = [*lines, str(size)]
            write(HOME + "\r\n".join(f"{line}{CLEAR_LINE}" for line in lines) + CLEAR_BELOW)

    with single_keys():
        write(OPEN)
        try:
            yield show
        finally:
            with suppress(OSError):
                write(PLAIN + CLOSE)


def take_keys(learning: Learning) -> None:
    """Does what the keys say that were pressed since last asked."""
    asked: dict[Command, Callable[[], None]] = {
        Command.NEXT: learning.skip,
        Command.PREVIOUS: learning.back,
        Command.AGAIN: learning.again,
        Command.QUIT: partial(_end, learning),
    }
    for command in pressed():
        if command in asked:
            asked[command]()


def _end(learning: Learning) -> None:
    """Ends it; where voices are left only if that was asked twice."""
    asked = ending(learning)
    if learning.all_asked or not learning.missing or learning.message == asked:
        learning.finish()
    else:
        learning.message = asked


def _lines(learning: Learning, hint: str, width: int) -> list[str]:
    step, wide = learning.step, width - 4
    boxes = "  ".join("[x]" if i < learning.strokes else "[ ]" for i in range(STROKES))
    pads = ["roll on any pad: the one before again"]
    if learning.can_skip_by_pad():
        pads[:0] = [f"bass drum {SKIPS} times: skip", f"{ENDS} times: skip all"]
    said = [*_words(hint, wide), *_words(learning.message, wide)]
    return [
        "",
        f"  {FAINT}{learning.number} of {len(learning.steps)}{PLAIN}",
        "",
        f"  {LOUD}{cut(step.title.upper(), wide)}{PLAIN}",
        "",
        *(f"  {line}" for line in _words(step.how, wide)),
        "",
        f"  {LOUD}{boxes}{PLAIN}",
        "",
        *(f"  {line}" for line in said or [""]),
        f"  {FAINT}{cut(learning.latest, wide)}{PLAIN}",
        "",
        *(f"  {FAINT}{line}{PLAIN}" for line in flowed(pads, wide)),
        *(f"  {FAINT}{line}{PLAIN}" for line in flowed(KEYS, wide)),
    ]


def _words(text: str, width: int) -> list[str]:
    return flowed((cut(word, width) for word in text.split()), width, " ")
