"""Beams drawn as the score has them, on stems that leave room between them and the noteheads.

The engraving library says where stems and the outer beam stand. Its inner beams crowd the
noteheads from thirty-seconds on, and its stubs point to the wrong side of a dotted note.
"""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence

from midiforge.engraving.shapes import SPACE, Boxes, Mark

THICK = 0.5 * SPACE
STEP = 0.75 * SPACE  # from one beam to the next
_STEM = 0.65  # half the width of a stem
_STUB = 1.1 * SPACE
# From the middle of a notehead to the nearest beam; more than with two beams on a usual stem would
# be longer than a stem must be (Gould, Behind Bars, from memory: 32nds have longer stems).
_CLEAR = 2.0 * SPACE
_BESIDE_SIGN = 2.0  # above and below what stands on a stem
_RESTS = "E4E"
SLASHES = ("E220", "E221", "E222")
BUZZ = "E22A"
ON_STEMS = (*SLASHES, BUZZ)

Beams = Mapping[str, tuple[str, ...]]  # of each note, by its name: see `Group.beams`


def beamed(staff: Sequence[Mark], beams: Beams, boxes: Boxes) -> list[Mark]:
    """The marks of a staff, each beam drawn anew, and what stands over it as far away as before."""
    by_beam = defaultdict[str, list[Mark]](list)
    for mark in staff:
        if mark.beam:
            by_beam[mark.beam].append(mark)
    drawn = list(staff)
    for marks in by_beam.values():
        if any(mark.name in beams for mark in marks):
            drawn = _drawn(drawn, marks, beams, boxes)
    return drawn


def is_stem(mark: Mark) -> bool:
    """Whether it is the stem of a note."""
    if mark.kind != "stroke" or not mark.name or len(mark.points) != 2:
        return False
    (x, _), (other, _) = mark.points
    return abs(x - other) < 0.1


def _drawn(staff: Sequence[Mark], own: Sequence[Mark], beams: Beams, boxes: Boxes) -> list[Mark]:
    """The staff with one beam drawn anew."""
    areas = [mark for mark in own if mark.kind == "fill" and not mark.name]
    stems = [mark for mark in own if mark.name in beams and is_stem(mark)]
    stems.sort(key=lambda mark: mark.points[0])
    heads = {
        stem.name: [
            mark.points[0][1]
            for mark in own
            if mark.name == stem.name and mark.kind == "glyph" and _is_head(mark)
        ]
        for stem in stems
    }
    ends = [y for area in areas for _, y in area.points]
    up = min(ends) < min(map(min, heads.values()))
    way = -1.0 if up else 1.0  # from the noteheads to the beam
    outer = min(ends) if up else max(ends)
    short = 0.0
    for stem in stems:
        near = (min if up else max)(heads[stem.name])
        inner = outer - way * ((len(beams[stem.name]) - 1) * STEP + THICK)
        needed = max((_room_of(mark, boxes) for mark in own if mark.name == stem.name), default=0.0)
        short = max(short, max(_CLEAR, needed) - way * (inner - near))
    deepest = outer - way * ((max(map(len, beams.values())) - 1) * STEP + THICK)
    for rest in (mark for mark in own if mark.glyph.startswith(_RESTS)):
        _, _, top, bottom = rest.extent(boxes)
        short = max(short, _BESIDE_SIGN - way * (deepest - (top if up else bottom)))
    outer += way * short
    left, right = stems[0].points[0][0], stems[-1].points[0][0]
    gone = {id(area) for area in areas}
    tuplets = {
        mark.tuplet
        for mark in staff
        if mark.tuplet
        and any(left - SPACE < x < right + SPACE for x, _ in mark.points)
        and all((y - (outer - way * short)) * way > -SPACE for _, y in mark.points)
    }
    names = {stem.name for stem in stems}
    result = []
    for mark in staff:
        if id(mark) in gone:
            continue
        if mark in stems:
            foot = (max if up else min)(y for _, y in mark.points)
            x = mark.points[0][0]
            mark = mark._replace(points=((x, foot), (x, outer - way)))
        elif mark.tuplet in tuplets or (mark.name in names and _is_over(mark, outer, short, way)):
            mark = mark.moved(0.0, way * short)
        result.append(mark)
    return [*result, *_areas(stems, beams, outer, way, own[0].beam)]


def _is_head(mark: Mark) -> bool:
    return mark.glyph[:3] in ("E0A", "E0B", "E0C", "E0D")


def _room_of(mark: Mark, boxes: Boxes) -> float:
    """What a sign on a stem needs between the middle of the notehead and the beam."""
    if mark.glyph not in ON_STEMS:
        return 0.0
    _, _, top, bottom = mark.extent(boxes)
    return SPACE / 2 + 2 * _BESIDE_SIGN + bottom - top


def _is_over(mark: Mark, outer: float, short: float, way: float) -> bool:
    """Whether it stands beyond where the beam was, such as an accent."""
    return all((y - (outer - way * short)) * way > 0 for _, y in mark.points)


def _areas(
    stems: Sequence[Mark], beams: Beams, outer: float, way: float, beam: str
) -> Iterator[Mark]:
    """Every beam, from the outer one inwards, as an area."""
    xs = [stem.points[0][0] for stem in stems]
    parts = [beams[stem.name] for stem in stems]
    for level in range(max(map(len, parts))):
        begun = 0.0
        for i, (x, words) in enumerate(zip(xs, parts, strict=True)):
            word = words[level] if level < len(words) else ""
            if word == "begin":
                begun = x
                continue
            if word == "end":
                sides = begun, x
            elif word == "forward hook":
                sides = x, x + min(_STUB, 0.5 * (xs[i + 1] - x))
            elif word == "backward hook":
                sides = x - min(_STUB, 0.5 * (x - xs[i - 1])), x
            else:
                continue
            left, right = sides[0] - _STEM, sides[1] + _STEM
            y = outer - way * level * STEP
            inner = y - way * THICK
            corners = ((left, y), (right, y), (right, inner), (left, inner))
            yield Mark("", "fill", corners, beam=beam)
