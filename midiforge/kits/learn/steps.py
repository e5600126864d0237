"""What is asked when a kit is learnt, one thing after the other."""

from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.frozen import frozen
from midiforge.kits.kit import COMMANDS
from midiforge.kits.learn.hihat_pedal import CLOSED, HALF, OPEN
from midiforge.library import shelf

BASS = "bass-drum"

# What is asked, drum by drum; a drum that is skipped takes its zones with it.
ASKED: tuple[tuple[str, ...], ...] = (
    (BASS,),
    ("snare", "snare-rim", "side-stick"),
    (CLOSED, OPEN, HALF, "hihat-pedal"),
    ("tom-high", "tom-high-rim"),
    ("tom-mid", "tom-mid-rim"),
    ("tom-low", "tom-low-rim"),
    ("floor-tom", "floor-tom-rim"),
    ("ride", "ride-bell", "ride-edge"),
    ("crash",),
    ("crash-2",),
    ("china",),
    ("splash",),
)
DRUM_OF = {zone: drum[0] for drum in ASKED for zone in drum[1:]}

_HOW = {
    CLOSED: "Lift the foot once, press it down, then hit three times.",
    OPEN: "Foot off the pedal, then hit three times.",
    HALF: "Foot halfway down and still, then hit three times.",
    "hihat-pedal": "Close it with the foot three times; no stick.",
    "hihat-splash": "Splash it with the foot three times; no stick.",
}


@frozen
class Step:
    """One thing that is asked. kind: "voice", "control" or "end"; name: the voice's or command's"""

    kind: str
    name: str

    @property
    def title(self) -> str:
        if self.kind == "voice":
            return shelf.voice(self.name).title
        return f"Control: {self.name}" if self.kind == "control" else "That was all"

    @property
    def how(self) -> str:
        if self.kind == "voice":
            return _HOW.get(self.name, "Hit it three times.")
        if self.kind == "control":
            return "Three times the pad or pedal for it, one that plays nothing else."
        return "Hit any pad three times to write the file."


def voices_asked(text: str) -> list[str]:
    """The voices that a list with commas names; those of a drum set if it is empty."""
    named = [shelf.voice(name).name for name in _words(text)]
    return list(dict.fromkeys(named)) or [voice for drum in ASKED for voice in drum]


def controls_asked(text: str) -> list[str]:
    """The commands that a list with commas names, or "all"."""
    words = list(COMMANDS) if text.strip().lower() == "all" else _words(text)
    for word in words:
        if word not in COMMANDS:
            raise MidiforgeError(f"unknown command {quoted(word)}", hint=nearest(word, COMMANDS))
    return list(dict.fromkeys(words))


def _words(text: str) -> list[str]:
    return [word.strip() for word in text.split(",") if word.strip()]
