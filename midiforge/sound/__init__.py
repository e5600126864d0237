"""Sound: an exercise as audio that loops, rendered by FluidSynth from a SoundFont."""

from midiforge.sound.audio_file import About, about, check_ending, write_audio
from midiforge.sound.fluid import Sound
from midiforge.sound.level import gain_for
from midiforge.sound.pool import Done, Job, render_all
from midiforge.sound.render import Rendered, rendered
from midiforge.sound.soundfont import check_soundfont, find_soundfont

__all__ = [
    "About",
    "Done",
    "Job",
    "Rendered",
    "Sound",
    "about",
    "check_ending",
    "check_soundfont",
    "find_soundfont",
    "gain_for",
    "render_all",
    "rendered",
    "write_audio",
]
