"""How wide text is at most, and text in lines of a width.

The widths are those of DejaVu Serif, the widest of the fonts that the pages name, by kinds of
letters (in chord symbols by letter): enough to end a line in time, whatever font a screen has, and
a symbol before the next begins.
"""

from collections.abc import Iterator

_CAPITAL, _WIDE, _OTHER, _NARROW = 0.71, 0.95, 0.6, 0.36  # of the size of the letters
_WIDE_LETTERS = frozenset("mwMW@%&")
_NARROW_LETTERS = frozenset(" \N{NO-BREAK SPACE}ijlt.,:;'|!()[]/-·")
CHORD = 25.0  # size of letters, in tenths of a staff space
# In thousandths of an em, measured in DejaVu Serif 2.37; what is not listed is as wide as most.
_IN_CHORDS = {
    "A": 722, "B": 735, "C": 765, "D": 802, "E": 730, "F": 694, "G": 799, "M": 1024, "N": 875,
    "m": 948, "i": 320, "j": 310, "l": 320, "s": 513, "t": 402, "/": 337, ".": 318, ",": 318,
    "(": 390, ")": 390, "-": 338, "+": 838, "♭": 472, "♯": 484, "°": 500, "ø": 602, "Δ": 722,
}  # fmt: skip
_OTHER_IN_CHORDS = 640


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


def chord_width(text: str, size: float = CHORD) -> float:
    """How wide a chord symbol is at most, in the unit of `size`."""
    return size * sum(_IN_CHORDS.get(letter, _OTHER_IN_CHORDS) for letter in text) / 1000
