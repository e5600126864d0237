"""The kit file that comes of what was learnt, and what is said of it."""

import os
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from shlex import quote

from midiforge.errors import MidiforgeError
from midiforge.files.disk import read_toml, real, write_aside
from midiforge.files.own_file import KIT
from midiforge.files.toml_text import toml_lines
from midiforge.kits.kit import Kit, kit_path, named_from
from midiforge.kits.learn.hihat_pedal import openness, runs_backwards
from midiforge.kits.learn.learn import Learning
from midiforge.kits.learn.strokes import Learnt
from midiforge.library import shelf

_OF_MOVED = "No pads of their own: these sound as what stands in for them."


def kit_file(learning: Learning, base: Kit, starts_from: str, name: str, title: str) -> str:
    """The kit file's text.

    base: the kit it starts from; starts_from: how the file names that one.
    """
    pads = learning.pads
    own = {voice: pad.note for voice, pad in pads.items()}
    moved = _moved(own, base)
    notes = {**own, **moved}
    channels = Counter(channel for pad in pads.values() for channel in pad.channels)
    channel = channels.most_common(1)[0][0] if channels else base.channel
    content = {
        "name": name,
        "title": title,
        "starts_from": starts_from,
        "channel": channel,
        "notes": notes,
        "heard": {str(note): voice for note, voice in _heard(pads, notes, base).items()},
        "hihat": openness(pads),
        "controls": {key: f"{kind} {number}" for key, (kind, number) in learning.bound.items()},
    }
    remarks = {next(iter(moved), ""): _OF_MOVED}
    filled = {key: value for key, value in content.items() if value != {}}
    text = "".join(f"{line}\n" for line in toml_lines(filled, remarks))
    return KIT.sealed(text.encode()).decode()


def _moved(notes: Mapping[str, int], base: Kit) -> dict[str, int]:
    """Voices that were not learnt, but whose note in `base` is another voice's on this kit: they
    sound as what stands in for them, so that a play-along does not hit a wrong pad."""
    taken, moved = set(notes.values()), {}
    for voice, note in base.notes.items():
        if voice in notes or note not in taken:
            continue
        instead = shelf.voice(voice).fallback
        while instead and instead not in notes and base.notes.get(instead) in {*taken, None}:
            instead = shelf.voice(instead).fallback
        if instead:
            moved[voice] = notes.get(instead, base.notes.get(instead, note))
    return moved


def _heard(pads: Mapping[str, Learnt], notes: Mapping[str, int], base: Kit) -> dict[int, str]:
    """Further notes, and those that reading [notes] backwards would take for another voice."""
    backwards = {number: voice for voice, number in reversed({**base.notes, **notes}.items())}
    learnt = [*pads.items()][::-1]  # of two voices on one note the first learnt has it
    heard = {number: voice for voice, pad in learnt for number in pad.also}
    for number, voice in {pad.note: voice for voice, pad in learnt}.items():
        heard.pop(number, None)
        if base.heard.get(number, voice) != voice or backwards[number] != voice:
            heard[number] = voice
    return dict(sorted(heard.items()))


def learnt_words(learning: Learning, starts_from: str, out: str) -> list[str]:
    """Lines about the file `out`; starts_from: the kit that says all the rest."""
    pads, missing = learning.pads, learning.missing
    lines = [f"{out}: {_count(learning)}: {', '.join(pads) or 'none'}"]
    if learning.bound:
        lines.append(f"controls: {', '.join(learning.bound)}")
    if missing:
        lines.append(f"not learnt, so as in {starts_from}: {', '.join(missing)}")
    if missing and not learning.all_asked:
        again = f"--starts-from {quote(out)} --voices {','.join(missing)}"
        lines.append(f"it is part of a kit; for the rest: midiforge kit learn {again} --out FILE")
    if pedal := openness(pads):
        lines.append(
            f"hi-hat: controller {pedal['controller']}, open below {pedal['open_below']}, "
            f"closed above {pedal['closed_above']}"
        )
    elif runs_backwards(pads):
        lines.append("hi-hat: its controller rises as it opens, which a kit file cannot say")
    return lines


def ending(learning: Learning) -> str:
    """What is asked before it ends with voices left."""
    return f"q again ends here, with {_count(learning)}; n and p go on"


def _count(learning: Learning) -> str:
    learnt = len(learning.pads)
    return f"{learnt} of {learnt + len(learning.missing)} voices"


# Where it goes


def may_write(out: Path) -> None:
    """MidiforgeError if what is there is not ours to replace, or nothing can be written there."""
    if not os.access(out.parent, os.W_OK):
        raise MidiforgeError("nothing can be written into this folder", str(out.parent))
    KIT.check(out)


def named_in(out: Path, starts_from: str, folder: Path) -> str:
    """How a new file names the kit it starts from; never itself, not even by way of others.

    folder: where the path of that kit begins. Raises MidiforgeError.
    """
    path = kit_path(starts_from, folder)
    while path:
        if real(path) == real(out):
            raise MidiforgeError("would start from itself", str(out), hint="name another file")
        path = kit_path(str(read_toml(path).get("starts_from", "")), path.parent)
    return named_from(out.parent, starts_from, folder)


def write_learnt(learning: Learning, base: Kit, starts_from: str, out: Path, port: str) -> Path:
    """Writes the kit file, beside what may have come there meanwhile; gives where it is.

    port: that the kit was learnt through; "" for one of ours. Raises MidiforgeError.
    """
    from midiforge.live.recording.take_file import free

    text = learnt_text(learning, base, starts_from, out, port)
    try:
        may_write(out)
    except MidiforgeError:
        out = free(out)
    write_aside(out, text)
    return out


def learnt_text(learning: Learning, base: Kit, starts_from: str, out: Path, port: str) -> str:
    """The text of that file."""
    title = f"{out.stem}, learnt from {port}" if port else out.stem
    return kit_file(learning, base, starts_from, out.stem, title)


def unfinished(out: Path) -> Path:
    """Where what was learnt goes if it was stopped before the end."""
    return out.with_stem(f"{out.stem}-unfinished") if out.exists() else out
