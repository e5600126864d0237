"""File names that sort in teaching order and read well."""

import re
from unicodedata import combining, normalize

from midiforge.model.exercise import Exercise
from midiforge.model.tempo import plain

ENDING = ".mid"
_LONGEST = 60


def file_name(exercise: Exercise, digits: int) -> str:
    """Such as "07-full-single-paradiddle-from-1e-92bpm.mid"."""
    variant = exercise.variant
    words = [f"{exercise.order:0{digits}d}", exercise.stage[:_LONGEST]]
    if variant.sticking:
        words += [_worded(variant.sticking)[:_LONGEST], f"from-{_worded(variant.placement_name)}"]
        if variant.backward:
            words.append("backward")
        if variant.swapped:
            words.append(f"lead-{variant.lead}")
        accents = [_worded(variant.accents)[:_LONGEST]] if variant.accents != "own" else []
        if variant.accent_placement:
            accents.append(f"from-{_worded(variant.accent_placement_name)}")
        words += ["accents", *accents] if accents else []
    else:
        words.append(_worded(exercise.feet)[:_LONGEST])
    if variant.feet_placement:
        words.append(f"feet-late-{variant.feet_placement}")
    words.append("-".join(dict.fromkeys((plain(exercise.tempo.first), plain(exercise.tempo.last)))))
    return "-".join(filter(None, words)) + "bpm" + ENDING


def _worded(text: str) -> str:
    """The text as words of a file name that every system takes; a grid by its steps."""
    if re.fullmatch(r"[x>g.\s|]+", text):
        steps = re.sub(r"[\s|]", "", text)
        return "-".join(str(i) for i, mark in enumerate(steps, start=1) if mark != ".")
    spoken = normalize("NFKD", text.replace("&", "and").replace("+", "and"))
    plain = "".join(letter for letter in spoken if not combining(letter))
    return re.sub(r"[^A-Za-z0-9]+", "-", plain).strip("-")
