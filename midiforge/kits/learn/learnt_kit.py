"""The kit file that comes of what was learnt."""

from collections import Counter
from collections.abc import Mapping

from midiforge.files.own_file import KIT
from midiforge.files.toml_text import toml_lines
from midiforge.kits.kit import Kit
from midiforge.kits.learn.hihat_pedal import openness
from midiforge.kits.learn.kit_strokes import Learnt
from midiforge.kits.learn.learn import Learning
from midiforge.library import shelf


def kit_file(learning: Learning, base: Kit, starts_from: str, name: str, title: str) -> str:
    """The kit file's text.

    base: the kit it starts from; starts_from: how the file names that one.
    """
    found = learning.found
    own = {voice: each.note for voice, each in found.items()}
    moved = _moved(own, base)
    notes = {**own, **moved}
    channels = Counter(channel for each in found.values() for channel in each.channels)
    channel = channels.most_common(1)[0][0] if channels else base.channel
    content = {
        "name": name,
        "title": title,
        "starts_from": starts_from,
        "channel": channel,
        "notes": notes,
        "heard": {str(note): voice for note, voice in _heard(found, notes, base).items()},
        "hihat": openness(found),
        "controls": {key: f"{kind} {number}" for key, (kind, number) in learning.bound.items()},
    }
    remarks = {next(iter(moved), ""): _OF_MOVED}
    filled = {key: value for key, value in content.items() if value != {}}
    return KIT.sealed(
        "".join(f"{line}\n" for line in toml_lines(filled, remarks)).encode()
    ).decode()


_OF_MOVED = "No pads of their own: these sound as what stands in for them."


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


def _heard(found: Mapping[str, Learnt], notes: Mapping[str, int], base: Kit) -> dict[int, str]:
    """Further notes, and those that reading [notes] backwards would take for another voice."""
    backwards = {number: voice for voice, number in reversed({**base.notes, **notes}.items())}
    heard: dict[int, str] = {}
    for voice, each in found.items():
        for number in each.also:
            heard.setdefault(number, voice)
    struck: dict[int, str] = {}
    for voice, each in found.items():
        struck.setdefault(each.note, voice)
    for number, voice in struck.items():
        heard.pop(number, None)
        if base.heard.get(number, voice) != voice or backwards[number] != voice:
            heard[number] = voice
    return dict(sorted(heard.items()))
