"""The click's voices: a sound that the drill itself does not use."""

from midiforge.errors import MidiforgeError
from midiforge.kits.kit import Kit
from midiforge.library import shelf

# On the first beat, on the others; the first pair that the drill leaves free is the click.
CLICK_VOICES = (
    ("woodblock-high", "woodblock-low"),
    ("metronome-bell", "metronome-click"),
    ("claves", "claves"),
    ("cowbell", "cowbell"),
    ("side-stick", "side-stick"),
    ("triangle", "triangle-mute"),
    ("tambourine", "tambourine"),
)


def click_voices(name: str, kit: Kit, sounds: set[str]) -> tuple[str, str]:
    """The click's two voices: those named, or the first pair that the drill leaves free."""
    used = {kit.note(sound) for sound in sounds}
    free = [
        pair
        for pair in CLICK_VOICES
        if all(kit.has(voice) and kit.note(voice) not in used for voice in pair)
    ]
    if not name:
        if not free:
            raise MidiforgeError(
                "the drill uses every sound a click could have", hint="name one: click_voice"
            )
        return free[0]
    voice = shelf.voice(name).name
    if kit.note(voice) in used:
        raise MidiforgeError(
            f"the drill itself plays {voice!r}",
            hint="free: " + ", ".join(sorted({voice for pair in free for voice in pair})),
        )
    return voice, voice
