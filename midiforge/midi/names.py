"""File names that sort in teaching order and read well."""

import re
from unicodedata import combining, normalize

from midiforge.model.exercise import Exercise, Variant
from midiforge.model.tempo import plain

ENDING = ".mid"
_LONGEST = 60
_LEADS = {"R": "right-lead", "L": "left-lead", "": "swapped"}


def file_name(exercise: Exercise, digits: int, kind: str = "") -> str:
    """Such as "07-full-single-paradiddle-from-1e-92bpm.mid".

    digits: of the number. kind: what stands where the stage does in an exercise's own name.
    """
    variant = exercise.variant
    words = [f"{exercise.order:0{digits}d}", kind or exercise.stage]
    if variant.sticking:
        words += [_sticking(variant.sticking), "from", _worded(variant.placement_name)]
        words += ["backward"] * variant.backward
        words += [_LEADS[variant.lead]] * variant.swapped
        if variant.accents != "own" or variant.accent_placement:
            words += ["accents", _accents(variant)]
    else:
        words.append(_worded(exercise.feet))
    if variant.feet_placement:
        words += ["feet", "from", _worded(variant.feet_placement_name)]
    words.append("-".join(dict.fromkeys((plain(exercise.tempo.first), plain(exercise.tempo.last)))))
    return "-".join(filter(None, (word[:_LONGEST] for word in words))) + "bpm" + ENDING


def _sticking(text: str) -> str:
    """A rudiment's name, or letters with _ for each rest."""
    return _worded(text) if text.islower() else _worded(text.replace("-", "_"))


def _accents(variant: Variant) -> str:
    """Where accents come from, typed ones by their counts; and where they begin, if moved."""
    text = variant.accents_said.removeprefix("on ") or variant.accents
    if text == "own":
        text = ""
    if variant.accent_placement:
        text += f" from {variant.accent_placement_name}"
    return _worded(text)


def _worded(text: str) -> str:
    """The text as words of a file name that every system takes."""
    spoken = normalize("NFKD", text.replace("&", "and").replace("+", "and"))
    plain = "".join(letter for letter in spoken if not combining(letter))
    return re.sub(r"[^A-Za-z0-9._]+", "-", plain).strip("-.")
