"""The beams of a group of notes."""

from midiforge.notation.score import Group, Note


def beam(level: int, word: str) -> str:
    """A note's part of one beam; level 1 is that of eighths."""
    return f'<beam number="{level}">{word}</beam>'


def beams_of(group: Group) -> list[str]:
    """The beams of each note of a group, at every level; a rest breaks all but the first."""
    beams = [""] * len(group.notes)
    if group.beam is None:
        return beams
    first, last = group.beam
    for i in range(first, last + 1):
        note = group.notes[i]
        if note.is_rest:
            continue
        word = "begin" if i == first else "end" if i == last else "continue"
        before = _flags(group.notes[i - 1]) if i > first else 0
        after = _flags(group.notes[i + 1]) if i < last else 0
        beams[i] = beam(1, word)
        for level in range(2, note.value.flags + 1):
            if before >= level:
                word = "continue" if after >= level else "end"
            else:
                word = "begin" if after >= level else _hook(group, i)
            beams[i] += beam(level, word)
    return beams


def _flags(note: Note) -> int:
    return 0 if note.is_rest else note.value.flags


def _hook(group: Group, i: int) -> str:
    """Which way a beam for one note alone points: to the note that it makes a whole with."""
    note = group.notes[i]
    plain_length = note.length * 2 / 3 if note.value.dotted else note.length
    completes = (note.start - group.start) // plain_length % 2 == 1
    if group.beam and i in group.beam:
        completes = i == group.beam[1]
    return "backward hook" if completes else "forward hook"
