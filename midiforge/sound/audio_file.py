"""Audio files: WAV and FLAC of 24 bits, Ogg Vorbis; with tags, and the loop in a WAV.

Tags are those of ID3v2.4 (in WAV) and the Vorbis comment specification; the loop is the chunk
"smpl" of RIFF ("New Multimedia Data Types and Data Techniques", Microsoft, 1994), which samplers
and audio workstations read.
"""

import struct
from fractions import Fraction
from pathlib import Path
from typing import Any

from midiforge import __version__
from midiforge.errors import MidiforgeError, quoted
from midiforge.files.disk import aside
from midiforge.frozen import frozen
from midiforge.model.exercise import Exercise
from midiforge.model.tempo import plain
from midiforge.printable import many
from midiforge.sound.packages import package
from midiforge.sound.render import Rendered

ENCODER = f"midiforge {__version__}"
_CHUNK = 1 << 16  # samples at a time; libsndfile puts a whole Vorbis write on its stack
_PROBE = 1 << 16  # bytes
_MIDDLE_C = 60


# By ending: libsndfile's format and coding, and mutagen's module and class for its tags.
_FORMATS = {
    ".wav": ("WAV", "PCM_24", "mutagen.wave", "WAVE"),
    ".flac": ("FLAC", "PCM_24", "mutagen.flac", "FLAC"),
    ".ogg": ("OGG", "VORBIS", "mutagen.oggvorbis", "OggVorbis"),
}


@frozen
class About:
    """What a file says of itself.

    tempo: beats a minute; where it changes, the first. comment: what is in it.
    """

    title: str
    tempo: Fraction
    comment: str = ""


def about(exercise: Exercise) -> About:
    """What is to be said of an exercise."""
    parts = [str(exercise.meter), str(exercise.tempo), many(exercise.bars, "bar")]
    if exercise.count_in_bars:
        parts.append(f"{many(exercise.count_in_bars, 'bar')} of count-in")
    parts += [f"feet: {exercise.feet}"] if exercise.feet else []
    if exercise.band:
        parts.append("with " + ", ".join(member.title for member in exercise.band))
    title = f"{exercise.number}. {exercise.title}"
    return About(title, exercise.tempo.first, "; ".join(parts))


def check_ending(path: Path) -> None:
    """Raises MidiforgeError if no format goes with the path's ending."""
    if path.suffix.lower() not in _FORMATS:
        known = ", ".join(_FORMATS)
        raise MidiforgeError(
            f"{quoted(path.suffix or path.name)} is no format of audio files",
            str(path),
            hint=f"known: {known}",
        )


def write_audio(path: Path, sound: Rendered, gain: float, about: About, times: int = 1) -> None:
    """Writes a file, its format by its ending, as a whole or not at all.

    times: how often the loop goes round; what comes before it comes once.
    Raises MidiforgeError if it cannot be written or a package is missing.
    """
    check_ending(path)
    kind, coding, module, tagged = _FORMATS[path.suffix.lower()]
    soundfile, mutagen = package("soundfile"), package("mutagen")
    with aside(path) as beside:
        try:
            _write(soundfile, beside, kind, coding, sound, gain, times)
            if kind == "WAV" and sound.loop is not None:
                _add_loop(beside, sound.loop, sound.size(times) - 1, sound.rate)
            _tag(beside, module, tagged, about)
        except (soundfile.LibsndfileError, mutagen.MutagenError, AssertionError) as error:
            # Neither library says what the system said; the next write meets the same.
            with beside.open("ab") as stream:
                stream.write(bytes(_PROBE))
            raise MidiforgeError(f"cannot be written: {error or kind}", str(path)) from None


def _write(
    soundfile: Any, path: Path, kind: str, coding: str, sound: Rendered, gain: float, times: int
) -> None:
    factor = sound.samples.dtype.type(gain)
    with soundfile.SoundFile(str(path), "w", sound.rate, 2, coding, format=kind) as out:
        for samples in sound.turns(times):
            for first in range(0, len(samples), _CHUNK):
                out.write(samples[first : first + _CHUNK] * factor)
    # The library's own check is an assertion, which Python may have been told to leave out.
    if soundfile.info(str(path)).frames != sound.size(times):
        raise AssertionError


def _add_loop(path: Path, first: int, last: int, rate: int) -> None:
    """Adds the chunk "smpl" with one loop, forward, without end, from `first` to `last`."""
    head = (0, 0, 10**9 // rate, _MIDDLE_C, 0, 0, 0, 1, 0)
    loop = (0, 0, first, last, 0, 0)
    body = struct.pack("<9I6I", *head, *loop)
    with path.open("r+b") as stream:
        size = stream.seek(0, 2)
        stream.write(b"\0" * (size % 2) + b"smpl" + struct.pack("<I", len(body)) + body)
        size = stream.tell()
        stream.seek(4)
        stream.write(struct.pack("<I", size - 8))


def _tag(path: Path, module: str, kind: str, about: About) -> None:
    file = getattr(package(module), kind)(str(path))
    if file.tags is None:
        file.add_tags()
    if kind == "WAVE":
        id3 = package("mutagen.id3")
        utf8 = id3.Encoding.UTF8
        for frame in (
            id3.TIT2(encoding=utf8, text=[about.title]),
            id3.TBPM(encoding=utf8, text=[str(round(about.tempo))]),  # whole numbers only
            id3.COMM(encoding=utf8, lang="eng", desc="", text=[about.comment]),
            id3.TSSE(encoding=utf8, text=[ENCODER]),
        ):
            file.tags.add(frame)
    else:
        file["title"] = about.title
        file["bpm"] = plain(about.tempo)
        file["comment"] = about.comment
        file["encoder"] = ENCODER
    file.save()
