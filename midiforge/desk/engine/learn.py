"""Learns a kit, as `midiforge kit learn` does, shown by the page."""

from collections.abc import Callable
from pathlib import Path
from typing import Any

from midiforge.desk.line import Line, Said
from midiforge.errors import MidiforgeError
from midiforge.kits.kit import DEFAULT, read_kit
from midiforge.kits.learn.kit_file import (
    learnt_words,
    may_write,
    named_in,
    unfinished,
    write_learnt,
)
from midiforge.kits.learn.learn import Learning
from midiforge.kits.learn.session import LearnSession
from midiforge.kits.learn.steps import controls_asked, voices_asked
from midiforge.library import shelf


def run(line: Line) -> None:
    """Asks for voice after voice; what was learnt is kept however it ends."""
    job = line.job
    out, starts_from = Path(job["out"]), job.get("starts_from") or DEFAULT
    learning = Learning.of(voices_asked(""), controls_asked(""))
    base = read_kit(starts_from, out.parent)
    named = named_in(out, starts_from, out.parent)
    may_write(out)
    session = LearnSession(learning, job.get("port", ""), bool(job.get("virtual")))
    does: dict[str, Callable[[], None]] = {
        "skip": learning.skip,
        "back": learning.back,
        "again": learning.again,
        "finish": learning.finish,
    }
    wanted: list[str] = []
    told: list[Any] = [None]

    def asked(said: Said) -> None:
        what = "finish" if said.get("do") == "stop" else said.get("learn")
        if what in does:
            wanted.append(what)

    def show(learning: Learning, hint: str) -> None:
        while wanted:
            does[wanted.pop(0)]()
        now = _told(learning, hint)
        if now != told[0]:
            told[0] = now
            line.tell(learning=now)

    line.listen(asked)
    line.tell(begun={"port": session.name})
    try:
        session.run(show)
    except (KeyboardInterrupt, SystemExit):
        if learning.pads:
            write_learnt(learning, base, named, unfinished(out), session.name)
        raise
    finally:
        session.close()
    if not learning.pads:
        raise MidiforgeError("nothing was learnt; no file is written")
    out = write_learnt(learning, base, named, out, session.name)
    lines = [text for text in learnt_words(learning, named, out.name) if text.strip()]
    line.tell(ended={"lines": lines, "file": str(out)})


def _told(learning: Learning, hint: str) -> dict[str, Any]:
    """All that a page shows of it, of JSON's own kinds."""
    step = learning.step
    return {
        "title": step.title,
        "how": step.how,
        "number": learning.number,
        "of": len(learning.steps),
        "strokes": learning.strokes,
        "message": learning.message,
        "hint": hint,
        "latest": learning.latest,
        "voices": [
            {
                "title": shelf.voice(each.name).title,
                "asked": each is step,
                "notes": [*learning.pads[each.name].notes] if each.name in learning.pads else [],
            }
            for each in learning.steps
            if each.kind == "voice"
        ],
    }
