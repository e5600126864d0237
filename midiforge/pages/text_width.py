"""How wide text is at most, and text in lines of a width.

The widths are those of DejaVu Serif, the widest of the fonts that the pages name, by kinds of
letters: enough to end a line in time, whatever font a screen has.
"""

from collections.abc import Iterator

_CAPITAL, _WIDE, _OTHER, _NARROW = 0.71, 0.95, 0.6, 0.36  # of the size of the letters
_WIDE_LETTERS = frozenset("mwMW@%&")
_NARROW_LETTERS = frozenset(" \N{NO-BREAK SPACE}ijlt.,:;'|!()[]/-·")


def text_width(text: str, size: float) -> float:
    """How wide a text is at most, in the unit of `size`, that of its letters."""
    return size * sum(map(_letter, text))


def _letter(letter: str) -> float:
    if letter in _NARROW_LETTERS:
        return _NARROW
    if letter in _WIDE_LETTERS or letter > "\u2e80":  # such as Chinese ones
        return _WIDE
    return _CAPITAL if letter.isupper() or letter.isdigit() else _OTHER


def in_width(text: str, width: float, size: float) -> Iterator[str]:
    """The text in lines of at most `width`, broken at blanks; longer words are broken too."""
    line = ""
    for word in text.split(" "):
        longer = f"{line} {word}" if line else word
        if text_width(longer, size) <= width:
            line = longer
            continue
        if line:
            yield line
        line = word
        while text_width(line, size) > width:
            most = next(
                n for n in range(len(line), 0, -1) if n == 1 or text_width(line[:n], size) <= width
            )
            yield line[:most]
            line = line[most:]
    if line:
        yield line
