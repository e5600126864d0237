"""The exercise as engraved, with what was played laid over it: each stroke tinted, and shifted."""

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction
from itertools import pairwise
from operator import itemgetter
from statistics import fmean

from midiforge.engraving.cut import cut
from midiforge.engraving.drawing import STYLE, Piece, Setting, joined, sign_definitions
from midiforge.engraving.engrave import Engraver
from midiforge.engraving.heads import FURTHEST, HIGH, MAGNIFIED, WIDE, Written, heads_of, height_of
from midiforge.engraving.ink import moved, text_at
from midiforge.engraving.shapes import SPACE
from midiforge.engraving.widths import Layout
from midiforge.errors import MidiforgeError
from midiforge.frozen import frozen
from midiforge.hear.limits import TOGETHER_MS
from midiforge.hear.review import Judged, Review
from midiforge.model.hit import Limb
from midiforge.notation.score import Head, Score
from midiforge.notation.write import scores
from midiforge.report.words import ms
from midiforge.svg import Svg, element, inline, together

# A line of music that a telephone shows at a size that can be read.
_WIDEST = 52.0 * SPACE
_MOST_BARS, _WORST_BARS = 8, 4  # drawn whole; else the bars that need most
_OFTEN = 2  # times that a stroke was not there, from which on it has a figure
_FIGURE = 15.0
STYLE_OF_STAFF = re.sub(
    r"([^{}]+)\{",
    lambda found: ",".join(f".staff {each}" for each in found[1].split(",")) + "{",
    STYLE,
)


@frozen
class _Played:
    """What became of one written stroke: how far it was off, in ms, and how often it was there
    and was not."""

    offs: tuple[float, ...]
    gone: int

    @property
    def share(self) -> float:
        return len(self.offs) / max(len(self.offs) + self.gone, 1)


def staff(review: Review) -> Iterator[str]:
    """The part of the page; nothing where notes cannot be engraved here."""
    try:
        engraver = Engraver()
        [score] = scores([review.exercise])
        played = _played(review, score)
        bars = _chosen(score, played)
        layout = Layout(_WIDEST, with_counts=True, with_similes=False)
        setting = cut(score, engraver, layout, bars)
    except MidiforgeError:
        return
    pieces, written = setting.pieces, [bar.number for bar in score.bars]
    heads = {key: head for key, head in heads_of(score) if key in played}
    first = pieces[0].bar == written[0]
    definitions = sign_definitions(engraver.glyphs, [setting.head, *pieces])
    few = "" if len(bars) == len(written) else " The bars that need most are shown."
    yield (
        "<section><h2>What is written, and where you played it</h2><figure class=staff><figcaption>"
        "A coloured head is where you struck on average: ahead to the left, behind to the right, "
        f"{MAGNIFIED} times as far as it was; pale where it was often missing, with a figure for "
        f"how often.{few}</figcaption>"
        f"{element('svg', definitions, class_='signs', width=0, height=0, aria_hidden='true')}"
    )
    for piece in pieces:
        drawing = [setting.head, piece] if first and piece is pieces[0] else [piece]
        width, content = joined(drawing)
        marks = together(_marks(piece, setting, review, played, heads))
        over = element("g", marks, transform=moved(width - piece.width, 0))
        yield inline(
            f"bar {piece.bar}: {_said(piece, played)}",
            element("g", content, class_="written"),
            over,
            style=f"--w:{width / SPACE:.2f}",
            viewBox=f"0 0 {width:.1f} {setting.height:.1f}",
        )
    yield "</figure></section>"


def _played(review: Review, score: Score) -> Mapping[Written, _Played]:
    first = score.loop.bars[0].number
    turn = min(len(score.loop.bars), review.exercise.returns_after_bars)

    def written(bar: int) -> int:
        return (bar - first) % turn + first if bar > first else bar

    # Numbers instead of fractions: a fraction takes long to hash, and there are many.
    offs: dict[_Key, list[float]] = defaultdict(list)
    gone: Counter[_Key] = Counter()
    for judged in review.judged:
        for key in _keys(judged, written):
            if judged.kind == "hit" and judged.off_ms is not None:
                offs[key].append(judged.off_ms)
            elif judged.kind == "missed":
                gone[key] += 1
    return {
        (bar, Fraction(above, below), limb, voice): _Played(
            tuple(offs.get((bar, above, below, limb, voice), ())),
            gone[bar, above, below, limb, voice],
        )
        for bar, above, below, limb, voice in {**offs, **gone}
    }


_Key = tuple[int, int, int, Limb, str]


def _keys(judged: Judged, written: Callable[[int], int]) -> Iterator[_Key]:
    if due := judged.due:
        bar, above, below = written(due.bar), due.place.numerator, due.place.denominator
        for hit in due.hits:
            if hit.limb:
                yield bar, above, below, hit.limb, hit.voice


def _chosen(score: Score, played: Mapping[Written, _Played]) -> set[int]:
    """The bars that were asked for: all, or those with most that is wrong."""
    wrong: dict[int, float] = defaultdict(float)
    for (bar, *_), of in played.items():
        wrong[bar] += of.gone + sum(map(abs, of.offs)) / TOGETHER_MS
    if len(wrong) > _MOST_BARS:
        wrong = dict(sorted(wrong.items(), key=itemgetter(1))[-_WORST_BARS:])
    written = [bar.number for bar in score.bars]
    return {*wrong} & {*written} or {*written[:1]}


def _marks(
    piece: Piece,
    setting: Setting,
    review: Review,
    played: Mapping[Written, _Played],
    heads: Mapping[Written, Head],
) -> Iterator[Svg]:
    exercise = review.exercise
    columns = dict(piece.times)
    begin = (piece.bar - 1) * exercise.meter.bar
    apart = [x2 - x1 for (_, x1), (_, x2) in pairwise(sorted(columns.items()))]
    lasting = [float(t2 - t1) for t1, t2 in pairwise(sorted(columns))]
    step = float(exercise.step) * sum(apart) / max(sum(lasting), 0.001) if apart else SPACE
    for key, of in played.items():
        bar, place, limb, _ = key
        head, x = heads.get(key), columns.get(begin + place)
        if bar != piece.bar or head is None or x is None:
            continue
        y = height_of(head, setting)
        if of.offs:
            off = MAGNIFIED * fmean(of.offs) / review.step_ms
            shift = step * max(-FURTHEST, min(FURTHEST, off))
            yield element(
                "ellipse",
                class_=f"played {limb.value}",
                cx=x + shift,
                cy=y,
                rx=WIDE,
                ry=HIGH,
                opacity=f"{0.2 + 0.6 * of.share:.2f}",
            )
        if of.gone >= _OFTEN:
            yield text_at(x, y - 9, _FIGURE, "gone", f"{of.gone}")


def _said(piece: Piece, played: Mapping[Written, _Played]) -> str:
    """What is seen, for whoever does not see it: the limbs, and how far each is off."""
    offs: dict[Limb, list[float]] = defaultdict(list)
    gone: Counter[Limb] = Counter()
    for (bar, _, limb, _), of in played.items():
        if bar == piece.bar:
            offs[limb] += of.offs
            gone[limb] += of.gone
    said = []
    for limb in Limb:
        if offs[limb] or gone[limb]:
            off = fmean(offs[limb]) if offs[limb] else 0.0
            missing = f", {gone[limb]} missing" if gone[limb] else ""
            said.append(f"{limb.title} {ms(off)} {'ahead' if off < 0 else 'behind'}{missing}")
    return "; ".join(said) or "nothing was played"
