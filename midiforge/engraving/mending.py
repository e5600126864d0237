"""What the engraving library sets well enough for a page of notes, and not for a page of drills.

Its tuplet brackets slant, and their numbers are where columns were before they were set evenly;
the z of a buzz stands on the stem wherever that is long enough without a beam; the brackets of a
ghost note cross a notehead close below it; an accent all but touches the sign of an open hi-hat;
the numbers of a time signature touch the plus signs between them.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence

from midiforge.engraving.beams import ON_STEMS
from midiforge.engraving.shapes import SPACE, Boxes, Mark

_BRACKETS = ("E26A", "E26B")  # around a ghost note, left and right
_ACCENT = "E4A0"  # above a note
_HIHAT_SIGNS = ("E5E5", "E5E7", "E631")  # closed, open, half open
_ABOVE_SIGN = 6.0  # tenths of a staff space
_NUMBERS = "E08"
_PLUS = "E08D"  # in a time signature
_BESIDE_PLUS = 2.2  # tenths of a staff space more on each side of it
_BESIDE_NUMBER = 3.5  # tenths of a staff space free on each side of a tuplet's number
_BELOW_BRACKET, _BELOW_NUMBER = 2.0, 4.5  # between its hooks, its number and what they span
_CLEAR = 0.8  # between a z and what is above and below it
_HALF_HEAD = SPACE / 2
_CLOSE = 1.5 * SPACE  # noteheads nearer than this leave no room for a whole bracket
_SMALL_BRACKET, _ASIDE = 0.7, 1.6  # of the usual size; tenths of a staff space further out

_Bracket = Sequence[tuple[Mark, Mark]]  # the parts of a tuplet's, as they were and as they are


def mended(staff: Sequence[Mark], boxes: Boxes) -> list[Mark]:
    """The marks of a staff with level tuplets in a row, and brackets and buzzes clear of heads."""
    tuplets, by_note, beams = (defaultdict[str, list[Mark]](list) for _ in range(3))
    for mark in staff:
        by_note[mark.name].append(mark)
        if mark.tuplet:
            tuplets[mark.tuplet].append(mark)
        if mark.beam and mark.kind == "fill":
            beams[mark.beam].append(mark)
    inside = [
        _accent(_buzz(_bracket(mark, by_note, boxes), by_note, beams, boxes), by_note, boxes)
        for mark in staff
    ]
    brackets = (_outside([*_level(tuplet, boxes)], inside, boxes) for tuplet in tuplets.values())
    levels = dict(_in_a_row([[*bracket] for bracket in brackets]))
    return [levels.get(mark, mark) for mark in inside]


def with_room_for_plus(staff: Sequence[Mark]) -> list[Mark]:
    """A clef and a time signature with room around each plus, the number below in the middle."""
    pluses = [mark.points[0] for mark in staff if mark.glyph == _PLUS]
    roomy = []
    for mark in staff:
        x, y = mark.points[0]
        by = _BESIDE_PLUS * sum(2 for plus, _ in pluses if plus < x)
        if mark.glyph == _PLUS:
            by += _BESIDE_PLUS
        elif mark.glyph.startswith(_NUMBERS) and any(y > height for _, height in pluses):
            by = _BESIDE_PLUS * len(pluses)  # half of all that is added above
        roomy.append(mark.moved(by))
    return roomy


def _level(tuplet: Sequence[Mark], boxes: Boxes) -> Iterator[tuple[Mark, Mark]]:
    """The parts of a bracket as they were, and level, with the number in the middle."""
    digits = [mark for mark in tuplet if mark.kind == "glyph"]
    lines = [mark for mark in tuplet if mark.kind == "stroke" and len(mark.points) == 3]
    if not digits or len(lines) != 2:
        return
    lines.sort(key=lambda mark: mark.points[1])
    corners = [mark.points[1] for mark in lines]
    inner = [mark.points[2][1] for mark in lines]
    drop = lines[0].points[0][1] - corners[0][1]  # from the bracket to the end of its hook
    heights = [y for _, y in corners]
    height = min(heights) if drop > 0 else max(heights)
    middle = sum(x for x, _ in corners) / 2
    # The library sets the number small where a grace note is in the tuplet.
    whole = {mark: mark._replace(size=1.0) for mark in digits}
    extents = [mark.extent(boxes) for mark in whole.values()]
    left, right = min(left for left, *_ in extents), max(right for _, right, *_ in extents)
    by = middle - (left + right) / 2, height - sum(inner) / 2
    yield from ((mark, own.moved(*by)) for mark, own in whole.items())
    beside = (right - left) / 2 + _BESIDE_NUMBER
    for mark, (x, _), end in zip(lines, corners, (middle - beside, middle + beside), strict=True):
        yield mark, mark._replace(points=((x, height + drop), (x, height), (end, height)))


def _outside(tuplet: _Bracket, staff: Sequence[Mark], boxes: Boxes) -> Iterator[tuple[Mark, Mark]]:
    """The parts of a bracket as they were, and out of the way of all that it spans."""
    line = next((mark for _, mark in tuplet if mark.kind == "stroke"), None)
    if line is None:
        return
    (_, hook), (_, height), _ = line.points
    others = [mark.extent(boxes) for mark in staff if not mark.tuplet]
    by = 0.0
    for _, mark in tuplet:
        left, right, top, bottom = mark.extent(boxes)
        clear = _BELOW_NUMBER if mark.kind == "glyph" else _BELOW_BRACKET
        spanned = [own for own in others if own[1] > left and own[0] < right]
        if hook > height:  # it is above
            by = min([by, *(high - clear - bottom for _, _, high, _ in spanned)])
        else:
            by = max([by, *(low + clear - top for *_, low in spanned)])
    yield from ((old, new.moved(0.0, by)) for old, new in tuplet)


def _in_a_row(brackets: Iterable[_Bracket]) -> Iterator[tuple[Mark, Mark]]:
    """The parts of brackets: those above as high as the highest, those below as low as the
    lowest."""
    sides = defaultdict[bool, list[tuple[float, _Bracket]]](list)  # by whether they are above
    for bracket in brackets:
        line = next((mark for _, mark in bracket if mark.kind == "stroke"), None)
        if line:
            (_, hook), (_, height), _ = line.points
            sides[hook > height].append((height, bracket))
    for is_above, own in sides.items():
        row = (min if is_above else max)(height for height, _ in own)
        for height, bracket in own:
            yield from ((old, new.moved(0.0, row - height)) for old, new in bracket)


def _bracket(mark: Mark, by_note: Mapping[str, Sequence[Mark]], boxes: Boxes) -> Mark:
    """The bracket of a ghost note, smaller and further out where another notehead is close."""
    if mark.glyph not in _BRACKETS:
        return mark
    y = mark.points[0][1]
    others = (
        abs(other.points[0][1] - y)
        for other in by_note[mark.name]
        if other.kind == "glyph" and other.glyph not in _BRACKETS
    )
    if not any(0 < away < _CLOSE for away in others):
        return mark
    left, right, *_ = mark.extent(boxes)
    smaller = mark._replace(size=mark.size * _SMALL_BRACKET)
    inner, *_ = smaller.extent(boxes)
    if mark.glyph == _BRACKETS[0]:
        return smaller.moved(right - (right - left) * _SMALL_BRACKET - inner - _ASIDE)
    return smaller.moved(left - inner + _ASIDE)


def _accent(mark: Mark, by_note: Mapping[str, Sequence[Mark]], boxes: Boxes) -> Mark:
    """An accent clear of the sign of a hi-hat under it; anything else as it is."""
    if mark.glyph != _ACCENT:
        return mark
    _, _, _, bottom = mark.extent(boxes)
    tops = (sign.extent(boxes)[2] for sign in by_note[mark.name] if sign.glyph in _HIHAT_SIGNS)
    return mark.moved(0.0, min(0.0, min(tops, default=bottom) - _ABOVE_SIGN - bottom))


def _buzz(
    mark: Mark,
    by_note: Mapping[str, Sequence[Mark]],
    beams: Mapping[str, Sequence[Mark]],
    boxes: Boxes,
) -> Mark:
    """The z of a buzz in the middle of what its beams leave of its stem; anything else as it is."""
    if mark.glyph not in ON_STEMS or mark.beam not in beams:
        return mark
    x = mark.points[0][0]
    extents = (beam.extent(boxes) for beam in beams[mark.beam])
    above = [below for left, right, _, below in extents if left - 1 <= x <= right + 1]
    nearest = max(above, default=0.0)  # only hands play buzzes, and their stems go up
    signs = (sign for sign in by_note[mark.name] if sign.glyph and sign.glyph not in ON_STEMS)
    heads = [sign.points[0][1] for sign in signs if sign.points[0][1] > nearest]
    room = min(heads, default=0.0) - _HALF_HEAD - nearest
    _, _, top, bottom = mark.extent(boxes)
    if not above or room <= 2 * _CLEAR:
        return mark
    if bottom - top > room - 2 * _CLEAR:
        mark = mark._replace(size=mark.size * (room - 2 * _CLEAR) / (bottom - top))
        _, _, top, bottom = mark.extent(boxes)
    return mark.moved(0.0, nearest + room / 2 - (top + bottom) / 2)
