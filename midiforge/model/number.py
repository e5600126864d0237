"""What exercises are called by number: 3 a piece at one tempo, 3a 3b 3c one at three.

The only place that makes such numbers, reads them, chooses by them and says them.
"""

import re
from collections.abc import Iterable, Iterator
from dataclasses import field
from functools import total_ordering
from itertools import count, groupby
from operator import attrgetter

from midiforge.errors import MidiforgeError, quoted
from midiforge.frozen import frozen

SUCH_AS = "such as 3, 3b or 5-8"

_LETTERS = "abcdefghijklmnopqrstuvwxyz"
_WORD = r"([0-9]{1,6})([A-Za-z]{0,3})"


@total_ordering
@frozen
class Number:
    """The number of an exercise, as it is said: "3", or "3b" where its piece has several tempos.

    piece: from 1; 0 for an exercise of no lesson. place: of its tempo in the piece, from 0.
    tempos: how many the piece has.
    """

    piece: int = 0
    place: int = 0
    tempos: int = field(default=1, compare=False)

    def __lt__(self, other: "Number") -> bool:
        return (self.piece, self.place) < (other.piece, other.place)

    @property
    def letter(self) -> str:
        """Of its tempo; "" for a piece at one. Those of a piece are equally long, so that they
        sort: a to z, or aa, ab ... where there are more."""
        if self.tempos == 1:
            return ""
        many = len(_LETTERS)
        size = next(size for size in count(1) if many**size >= self.tempos)
        return "".join(_LETTERS[self.place // many**i % many] for i in reversed(range(size)))

    @property
    def whole(self) -> "Number":
        """The number of its piece."""
        return Number(self.piece)

    def padded(self, digits: int) -> str:
        """With so many digits, so that names of files sort: "03b"."""
        return f"{self.piece:0{digits}d}{self.letter}"

    def is_from(self, first: "Named") -> bool:
        """Whether it is that number or comes after it."""
        return (self.piece, self.letter) >= (first.piece, first.letter)

    def __bool__(self) -> bool:
        return bool(self.piece)

    def __str__(self) -> str:
        return f"{self.piece}{self.letter}"


@frozen
class Named:
    """A number as somebody gives it; without a letter, all tempos of a piece are meant."""

    piece: int
    letter: str = ""

    def __contains__(self, number: Number) -> bool:
        return number.piece == self.piece and self.letter in ("", number.letter)

    def __str__(self) -> str:
        return f"{self.piece}{self.letter}"


def read_named(text: str) -> Named:
    """From "3", "3b", "03b"; raises MidiforgeError for anything else."""
    match = re.fullmatch(rf"\s*{_WORD}\s*", text, re.ASCII)
    if not match:
        raise MidiforgeError(f"{quoted(text)} is not a number", hint="such as 3 or 3b")
    return Named(int(match[1]), match[2].lower())


@frozen
class Span:
    """From a number to another, both among them; one of its own if they are the same."""

    first: Named
    last: Named

    def __contains__(self, number: Number) -> bool:
        if self.first == self.last:
            return number in self.first
        if not number.is_from(self.first):
            return False
        if number.piece == self.last.piece:
            return not self.last.letter or number.letter <= self.last.letter
        return number.piece < self.last.piece

    def __str__(self) -> str:
        return str(self.first) if self.first == self.last else f"{self.first}-{self.last}"


def read_span(text: str) -> Span:
    """From "3", "3b", "5-8", "3b-5a" or "3b-c"; raises MidiforgeError for anything else."""
    match = re.fullmatch(rf"\s*{_WORD}(?:\s*-\s*(?:{_WORD}|([A-Za-z]{{1,3}})))?\s*", text, re.ASCII)
    if not match or (match[5] and not match[2]):
        raise MidiforgeError(f"{quoted(text)} is not a number", hint=SUCH_AS)
    first = Named(int(match[1]), match[2].lower())
    last = first
    if match[3]:
        last = Named(int(match[3]), match[4].lower())
    elif match[5]:
        last = Named(first.piece, match[5].lower())
    same = first.piece == last.piece and bool(last.letter)
    if last.piece < first.piece or (same and last.letter < first.letter):
        raise MidiforgeError(f"{quoted(text.strip())} runs backward", hint=f"{last}-{first}")
    return Span(first, last)


def read_spans(text: str) -> tuple[Span, ...]:
    """From "3,5-8,9b"; none from ""."""
    parts = [part for part in text.split(",") if part.strip()]
    if text and not parts:
        raise MidiforgeError(f"{quoted(text)} names no exercise", hint=SUCH_AS)
    return tuple(map(read_span, parts))


class Chooser:
    """Chooses by spans, and knows what it has seen, for the error where one names nothing.

    spans: none for everything.
    """

    def __init__(self, spans: Iterable[Span] = ()) -> None:
        self.spans = tuple(spans)
        self._met: set[Span] = set()
        self._seen: dict[int, Number] = {}  # the last of each piece

    def takes(self, number: Number) -> bool:
        self._seen[number.piece] = number
        met = [span for span in self.spans if number in span]
        self._met.update(met)
        return bool(met) or not self.spans

    def is_done(self, number: Number) -> bool:
        """Whether all that the spans name comes before that number, of those in running order."""
        return (
            bool(self.spans)
            and len(self._met) == len({*self.spans})
            and all(span.last.piece < number.piece for span in self.spans)
        )

    def check(self) -> None:
        """Raises MidiforgeError, naming what is nearest, if a span names no exercise."""
        for span in self.spans:
            if span not in self._met:
                raise MidiforgeError(f"there is no exercise {span}", hint=self.nearest(span.first))

    def nearest(self, named: Named) -> str:
        """What there is instead: the tempos of a piece, or the first and last piece."""
        piece = self._seen.get(named.piece)
        if piece:
            return numbers_said(numbers_of(piece.piece, piece.tempos), whole=False)
        if not self._seen:
            return ""
        last = self._seen[max(self._seen)]
        spread = f"1 to {last.piece}" if last.piece > 1 else "1"
        letters = f", each at {last.tempos} tempos, such as {last}" if last.tempos > 1 else ""
        return f"there is {spread}{letters}"


def numbers_of(piece: int, tempos: int) -> tuple[Number, ...]:
    """The numbers of a piece's exercises, one for each tempo."""
    return tuple(Number(piece, place, tempos) for place in range(tempos))


def runs(numbers: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Whole numbers, neighbours drawn together: the first and the last of each run."""
    for _, run in groupby(enumerate(sorted({*numbers})), key=lambda item: item[1] - item[0]):
        neighbours = [number for _, number in run]
        yield neighbours[0], neighbours[-1]


def numbers_said(numbers: Iterable[Number], whole: bool = True, between: str = ", ") -> str:
    """Numbers, neighbours drawn together, as `read_spans` reads them: "1-3, 5b-c".

    whole: a piece at all its tempos is its number alone. between: what stands between them.
    """
    ordered = sorted({number for number in numbers if number})
    pieces = {piece: [*some] for piece, some in groupby(ordered, key=attrgetter("piece"))}
    all_of = {piece for piece, some in pieces.items() if whole and len(some) == some[0].tempos}
    said = {a: f"{a}-{b}" if a < b else f"{a}" for a, b in runs(all_of)}
    for piece in pieces.keys() - all_of:
        at = {number.place: number for number in pieces[piece]}
        said[piece] = between.join(
            f"{at[a]}-{at[b].letter}" if a < b else f"{at[a]}" for a, b in runs(at)
        )
    return between.join(said[piece] for piece in sorted(said))


def exercises_said(numbers: Iterable[Number]) -> str:
    """Exercises by number: "exercise 3b", "exercises 1-3, 5"."""
    said = numbers_said(numbers)
    return f"exercise{'' if re.fullmatch(_WORD, said) else 's'} {said}"
