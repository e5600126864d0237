"""What a player should do next, in one sentence, and up to five more.

RULES is the whole of it: the first rule that has something to say gives the sentence, the next
ones the points. The order is that of teaching: the right exercise, then all strokes there, then
nothing besides, then together, in time, with accents, even, steady. No rule names a tempo to go on
at: that depends on the takes before, and `midiforge.practice` says it.
"""

from collections.abc import Callable

from midiforge.frozen import frozen
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.review import Review
from midiforge.printable import many
from midiforge.report.rules.besides import extras
from midiforge.report.rules.case import Case
from midiforge.report.rules.counts import count_falls_apart
from midiforge.report.rules.evenness import doubles, unsteady
from midiforge.report.rules.hands import hands_unequal
from midiforge.report.rules.loudness import accents, ghosts
from midiforge.report.rules.misses import limb_drops_out, lost, strokes_missing
from midiforge.report.rules.pace import off_the_click, pace
from midiforge.report.rules.ramp import tempo
from midiforge.report.rules.right import other_exercise, other_kit, short
from midiforge.report.rules.together import apart
from midiforge.report.view import View
from midiforge.report.words import ms

MOST_POINTS = 5


@frozen
class Rule:
    """One thing there may be to say.

    name: in a word. says: "" for nothing. is_all: where it speaks, nothing that comes after it is
    of use.
    """

    name: str
    says: Callable[[Case], str]
    is_all: bool = False


def sentences(review: Review, known: Known = NOTHING) -> list[str]:
    """What to act on, in one sentence, and up to five more on what else there is to say."""
    first, points = advice(View(review), known)
    return [first, *points]


def advice(view: View, known: Known = NOTHING) -> tuple[str, list[str]]:
    """The sentence and the points."""
    (_, first), *rest = said(view, known)
    return first, [text for _, text in rest[:MOST_POINTS]]


def said(view: View, known: Known = NOTHING) -> list[tuple["Rule", str]]:
    """Every rule that has something to say, and what it says; one at least."""
    case = Case(view, known)
    found: list[tuple[Rule, str]] = []
    for rule in RULES:
        text = rule.says(case) if not found or rule is not RULES[-1] else ""
        if text:
            found.append((rule, text))
            if rule.is_all:
                break
    return found


def _clean(case: Case) -> str:
    review = case.review
    tally = review.tally
    spread = review.timing.deviation_ms
    steady = "" if spread is None else f", steady to {ms(spread)}"
    if tally.hit < tally.expected or tally.extra:
        extra = f" and {many(tally.extra, 'stroke')} too many" if tally.extra else ""
        return f"Nearly clean: {tally.hit:,} of {tally.expected:,} strokes{extra}{steady}."
    return f"Clean: all {many(tally.expected, 'stroke')}{steady}."


RULES = (
    Rule("short", short, True),
    Rule("other kit", other_kit, True),
    Rule("other exercise", other_exercise, True),
    Rule("lost", lost),
    Rule("limb drops out", limb_drops_out),
    Rule("tempo", tempo),
    Rule("strokes missing", strokes_missing),
    Rule("count falls apart", count_falls_apart),
    Rule("extras", extras),
    Rule("apart", apart),
    Rule("pace", pace),
    Rule("off the click", off_the_click),
    Rule("accents", accents),
    Rule("ghosts", ghosts),
    Rule("hands unequal", hands_unequal),
    Rule("doubles", doubles),
    Rule("unsteady", unsteady),
    Rule("clean", _clean),
)
