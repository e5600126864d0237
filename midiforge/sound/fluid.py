"""FluidSynth through its C interface: a synthesiser that renders into memory.

The functions and settings are those of FluidSynth's documentation (https://www.fluidsynth.org,
versions 2 and 3 of its library), as an open-source library (LGPL) that the system provides.
"""

import ctypes
import ctypes.util
import os
import shutil
import sys
from collections.abc import Iterator
from contextlib import suppress
from functools import lru_cache
from itertools import takewhile
from pathlib import Path
from threading import Lock
from types import SimpleNamespace
from typing import Any

from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen

BLOCK = 64  # samples; FluidSynth starts events at multiples of this (its FLUID_BUFSIZE)
DRUMS = 10  # the channel of drums in General MIDI
RATES = (8000, 96000)  # samples a second that FluidSynth takes, lowest and highest

_P, _I, _D, _F, _S = (
    ctypes.c_void_p,
    ctypes.c_int,
    ctypes.c_double,
    ctypes.c_float,
    ctypes.c_char_p,
)
# What a function gives back, and what it takes.
_FUNCTIONS: dict[str, tuple[Any, ...]] = {
    "fluid_set_log_function": (_P, _I, _P, _P),
    "new_fluid_settings": (_P,),
    "fluid_settings_setint": (_I, _P, _S, _I),
    "fluid_settings_setnum": (_I, _P, _S, _D),
    "new_fluid_synth": (_P, _P),
    "fluid_synth_sfload": (_I, _P, _S, _I),
    "fluid_synth_program_change": (_I, _P, _I, _I),
    "fluid_synth_noteon": (_I, _P, _I, _I, _I),
    "fluid_synth_noteoff": (_I, _P, _I, _I),
    "fluid_synth_all_sounds_off": (_I, _P, _I),
    "fluid_synth_write_float": (_I, _P, _I, _P, _I, _I, _P, _I, _I),
    "fluid_synth_get_active_voice_count": (_I, _P),
    "fluid_synth_get_voicelist": (None, _P, _P, _I, _I),
    "fluid_voice_get_id": (ctypes.c_uint, _P),
    "fluid_voice_gen_set": (None, _P, _I, _F),
    "fluid_voice_update_param": (None, _P, _I),
    "delete_fluid_synth": (None, _P),
    "delete_fluid_settings": (None, _P),
}
_LOG_LEVELS = 5
_ATTENUATION, _INAUDIBLE = 48, 1440.0  # the SoundFont generator, and its most in centibels
_VOICES = 256  # at once
# Two first synthesisers made at once share half-made tables (2.3.1: one in forty then plays another
# balance), so they are made one after the other.
_MAKING = Lock()
_SNARE = 38
_WARMED = 24  # notes; FluidSynth drops what it is told when it is told too much at once

_NAMES = {
    "linux": ("libfluidsynth.so.3", "libfluidsynth.so.2"),
    "darwin": (
        "libfluidsynth.3.dylib",
        "/opt/homebrew/lib/libfluidsynth.dylib",
        "/usr/local/lib/libfluidsynth.dylib",
        "/opt/local/lib/libfluidsynth.dylib",
    ),
    "win32": (
        "libfluidsynth-3.dll",
        "libfluidsynth-2.dll",
        "libfluidsynth.dll",
        r"C:\tools\fluidsynth\bin\libfluidsynth-3.dll",
    ),
}
_INSTALL = {
    "apt": "sudo apt install fluidsynth",
    "dnf": "sudo dnf install fluidsynth",
    "pacman": "sudo pacman -S fluidsynth",
    "zypper": "sudo zypper install fluidsynth",
}
_ELSEWHERE = {
    "darwin": "brew install fluid-synth",
    "win32": "choco install fluidsynth, or unpack a release of FluidSynth and put it on the PATH",
}


@frozen
class Sound:
    """What an exercise is rendered with.

    soundfont: the file (.sf2 or .sf3); see `soundfont.find_soundfont`.
    reverb: whether the instruments sound in a room, as their SoundFont wants it.
    """

    soundfont: Path
    reverb: bool = True


@lru_cache(maxsize=1)
def library() -> Any:
    """FluidSynth's functions by name, told to say nothing on the terminal.

    Raises MidiforgeError with the way to get it where it is missing.
    """
    loaded = _loaded()
    if loaded is None:
        raise MidiforgeError("audio needs FluidSynth, which is not installed", hint=_how())
    functions = SimpleNamespace()
    try:
        for name, (gives, *takes) in _FUNCTIONS.items():
            function = getattr(loaded, name)
            function.restype, function.argtypes = gives, takes
            setattr(functions, name, function)
    except AttributeError:
        raise MidiforgeError("FluidSynth is too old: 2.0 at least is needed", hint=_how()) from None
    for level in range(_LOG_LEVELS):
        functions.fluid_set_log_function(level, None, None)  # None: messages are dropped
    return functions


def _loaded() -> Any:
    """The shared library, or None if there is none."""
    for name in _candidates():
        with suppress(OSError):
            return ctypes.CDLL(name)
    return None


def _candidates() -> Iterator[str]:
    """What the library may be called, the usual names first: asking the system takes longer."""
    yield from _NAMES.get(sys.platform, ())
    for name in ("fluidsynth", "libfluidsynth-3", "libfluidsynth"):
        if path := ctypes.util.find_library(name):
            yield path


def _how() -> str:
    """How to get FluidSynth on this system."""
    if sys.platform in _ELSEWHERE:
        return _ELSEWHERE[sys.platform]
    for manager, line in _INSTALL.items():
        if shutil.which(manager):
            return line
    return "install the package fluidsynth"


class Synth:
    """A synthesiser with one SoundFont; channels count from 1. Close it, or use `with`.

    Raises MidiforgeError if there is no FluidSynth or the SoundFont cannot be loaded. Synths in
    several threads are independent, and share the samples of one file.
    """

    def __init__(self, sound: Sound, rate: int) -> None:
        self._library = fluid = library()
        self._synth = None
        self._newest: int | None = None  # the last voice that is to be heard
        self._settings = fluid.new_fluid_settings()
        try:
            for name, value in (
                (b"synth.reverb.active", int(sound.reverb)),
                (b"synth.chorus.active", 0),  # it would turn differently each time round a loop
                # Loaded one by one, some samples end in a loud pop (2.3.1, its own command too).
                (b"synth.dynamic-sample-loading", 0),
                (b"synth.lock-memory", 0),
                (b"synth.threadsafe-api", 0),
                (b"synth.polyphony", _VOICES),
            ):
                fluid.fluid_settings_setint(self._settings, name, value)
            fluid.fluid_settings_setnum(self._settings, b"synth.sample-rate", float(rate))
            with _MAKING:
                self._synth = fluid.new_fluid_synth(self._settings)
                if not self._synth:
                    raise MidiforgeError("FluidSynth does not start", hint="is there memory left?")
                if fluid.fluid_synth_sfload(self._synth, os.fsencode(sound.soundfont), 1) < 0:
                    raise MidiforgeError(
                        "FluidSynth cannot load this SoundFont: it is damaged",
                        str(sound.soundfont),
                    )
            self._warm_up()
        except BaseException:
            self.close()
            raise

    def _warm_up(self) -> None:
        """Uses the first voices once, unheard.

        A voice fades in from the volume of the note it had before within its first block, and
        from nothing if it had none (2.3.1, measured): strokes at the start of a loop would be
        duller than all others.
        """
        fluid, scratch = self._library, (ctypes.c_float * (2 * BLOCK))()
        for _ in range(_WARMED):
            self.on(DRUMS, _SNARE, 100)
        self._mute(-1)
        self.write(ctypes.addressof(scratch), 1)
        fluid.fluid_synth_all_sounds_off(self._synth, -1)
        self.write(ctypes.addressof(scratch), 1)

    def __enter__(self) -> "Synth":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Frees it; closing twice does no harm."""
        synth, self._synth = self._synth, None
        settings, self._settings = self._settings, None
        if synth:
            self._library.delete_fluid_synth(synth)
        if settings:
            self._library.delete_fluid_settings(settings)

    def program(self, channel: int, program: int) -> None:
        """Gives a channel a General MIDI program, 1 to 128."""
        self._library.fluid_synth_program_change(self._synth, channel - 1, program - 1)

    def on(self, channel: int, key: int, velocity: int) -> None:
        """Strikes a note; channel from 1, key and velocity as in MIDI."""
        self._library.fluid_synth_noteon(self._synth, channel - 1, key, velocity)

    def off(self, channel: int, key: int) -> None:
        """Lets go of a note; channel from 1."""
        self._library.fluid_synth_noteoff(self._synth, channel - 1, key)

    def on_unheard(self, channel: int, key: int, velocity: int) -> None:
        """Plays a note that cannot be heard, but ends others as it would (a hi-hat that closes).

        From the first of these on, all further notes must be unheard ones.
        """
        if self._newest is None:
            ids = map(self._library.fluid_voice_get_id, self._playing())
            self._newest = max(ids, default=-1)
        self.on(channel, key, velocity)
        self._mute(self._newest)

    def _mute(self, newest: int) -> None:
        """Lets voices that are newer than one be heard no longer."""
        fluid = self._library
        for voice in self._playing():
            if fluid.fluid_voice_get_id(voice) > newest:
                fluid.fluid_voice_gen_set(voice, _ATTENUATION, _INAUDIBLE)
                fluid.fluid_voice_update_param(voice, _ATTENUATION)
        # What a voice is told waits until the synthesiser itself is asked for something.
        fluid.fluid_synth_get_active_voice_count(self._synth)

    def _playing(self) -> Iterator[int]:
        voices = (ctypes.c_void_p * (_VOICES + 1))()  # one is left empty
        self._library.fluid_synth_get_voicelist(self._synth, voices, _VOICES, -1)
        return takewhile(bool, voices)

    def write(self, address: int, blocks: int) -> None:
        """Renders the next blocks of `BLOCK` samples as pairs of 32-bit floats to an address."""
        self._library.fluid_synth_write_float(
            self._synth, blocks * BLOCK, address, 0, 2, address, 1, 2
        )
