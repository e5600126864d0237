"""Every sticking of n strokes, within limits."""

from collections.abc import Iterator

from midiforge.frozen import frozen
from midiforge.phrase.phrase import Phrase, rotated
from midiforge.phrase.sticking import parse_sticking, write_sticking

LONGEST_STICKING = 16

_SWAP = str.maketrans("RL", "LR")


@frozen
class Every:
    """What `stickings` goes through.

    strokes: how many, 1 to 16.
    longest_run: most strokes of one hand in a row; 0 for no limit.
    looped: whether runs go on across the seam, as they do when the phrase repeats.
    starts: "R" or "L" for those that start so; "" for both.
    balanced: only those that use both hands equally.
    up_to_rotation, up_to_swap: of those that are the same but for where they start, or but for
        the hands changed over, only the first.
    """

    strokes: int
    longest_run: int = 0
    looped: bool = True
    starts: str = ""
    balanced: bool = False
    up_to_rotation: bool = False
    up_to_swap: bool = False

    def stickings(self) -> Iterator[Phrase]:
        """Each sticking as a phrase, in the order of the alphabet with R before L."""
        for letters in self.words():
            text = write_sticking(parse_sticking(letters))
            yield parse_sticking(letters, name=text)

    def words(self) -> Iterator[str]:
        """Each sticking as letters, such as "RLRRLRLL"."""
        seen: set[str] = set()
        for word in _grow("", self.strokes, self.longest_run or self.strokes):
            if self.starts and word[0] != self.starts:
                continue
            if self.balanced and 2 * word.count("R") != self.strokes:
                continue
            if self.looped and self.longest_run and _looped_run(word) > self.longest_run:
                continue
            if self.up_to_rotation or self.up_to_swap:
                if word in seen:
                    continue
                seen.update(self._alike(word))
            yield word

    def _alike(self, word: str) -> set[str]:
        turns = range(len(word)) if self.up_to_rotation else range(1)
        alike = {"".join(rotated(word, turn)) for turn in turns}
        if self.up_to_swap:
            alike |= {turned.translate(_SWAP) for turned in alike}
        return alike


def _grow(word: str, strokes: int, longest: int) -> Iterator[str]:
    if len(word) == strokes:
        yield word
        return
    for letter in "RL":
        if not word.endswith(letter * longest):
            yield from _grow(word + letter, strokes, longest)


def _looped_run(word: str) -> int:
    """The longest run of one hand when the word repeats for ever."""
    if len(set(word)) == 1:
        return LONGEST_STICKING + 1  # it never changes hands
    twice = word + word
    return max(map(len, twice.replace("RL", "R L").replace("LR", "L R").split()))
