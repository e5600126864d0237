"""File names that sort in running order and are an exercise's own title."""

import re
from unicodedata import combining, normalize

from midiforge.model.exercise import Exercise
from midiforge.model.tempo import plain

ENDING = ".mid"
_LONGEST = 100  # letters of a title


def file_name(exercise: Exercise, digits: int, kind: str = "") -> str:
    """Such as "03b_^RLL^R_^LRR^L_from_1e_over_Bossa_nova_92bpm.mid".

    Unique in a lesson: no two exercises have one number.

    digits: of the number. kind: of a loop, before the title.
    """
    tempos = "-".join(dict.fromkeys((plain(exercise.tempo.first), plain(exercise.tempo.last))))
    words = [exercise.number.padded(digits), kind, spelled(exercise.title), f"{tempos}bpm"]
    return "_".join(filter(None, words)) + ENDING


def shortened(words: str, letters: int, size: int) -> str:
    """The beginning of words, of so many letters at most, and bytes: a file's name has 255."""
    return words[:letters].encode()[:size].decode(errors="ignore").strip()


def spelled(title: str) -> str:
    """A title as every file system takes it: _ for a space, ^ for an accent, letters of ASCII.

    What else a sticking has is as in a drill: - is a rest, (L) a ghost note.
    """
    letters = normalize("NFKD", title.replace(">", "^"))
    text = "".join(letter for letter in letters if not combining(letter))
    words = re.sub(r"[^A-Za-z0-9.()&+^-]+", "_", text).strip("_.")
    if len(words) > _LONGEST:
        words = words[: _LONGEST + 1].rpartition("_")[0] or words[:_LONGEST]
    return words
