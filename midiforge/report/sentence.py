"""What happened in a take, in one sentence, what to work on, and up to five sentences more.

RULES is the whole of it. The first rules say whether the take can be judged as this exercise at
all, and the first of them that speaks is the only one. All others are asked; what explains most
gives the sentence: what is farthest over its limit, where strokes weigh more than time and time
more than sound, as in teaching. One cause, one sentence: what only tells again, of mostly the same
faults, what a weightier finding has told is left out. No rule names a tempo to go on at: that
depends on the takes before, and `midiforge.practice` says it.
"""

from collections.abc import Callable

from midiforge.frozen import frozen
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.limits import NOTICED, PEDAL_MS
from midiforge.hear.review import Review
from midiforge.report.rules.besides import (
    added,
    extras,
    fills,
    free,
    moved,
    otherwise,
    pulled,
    triggers,
)
from midiforge.report.rules.case import Case, Fault, Finding
from midiforge.report.rules.evenness import doubles, loose_count, unsteady
from midiforge.report.rules.graces import graces
from midiforge.report.rules.loudness import accents, accents_moved, ghosts, hands_unequal
from midiforge.report.rules.missing import (
    count_falls_apart,
    limb_drops_out,
    lost,
    silent,
    stops,
    strokes_missing,
)
from midiforge.report.rules.pace import half_or_double, off_the_click, pace, ramp
from midiforge.report.rules.right import (
    hands_changed_over,
    other_exercise,
    other_kit,
    short,
    unsure,
)
from midiforge.report.rules.shifted import shifted
from midiforge.report.rules.swung import swung
from midiforge.report.rules.together import apart, early_or_late, now_one_now_the_other, pedal_off
from midiforge.report.view import View
from midiforge.report.words import ms, pulses

MOST_POINTS = 5


@frozen
class Rule:
    """One thing there may be to say.

    name: in a word. says: None for nothing. is_first: it decides whether the take can be judged;
    where it speaks, nothing else is of use.
    """

    name: str
    says: Callable[[Case], Finding | None]
    is_first: bool = False


def sentences(review: Review, known: Known = NOTHING) -> list[str]:
    """What to act on, in one sentence, and up to five more on what else there is to say."""
    first, points = advice(View(review), known)
    return [first.text, *points]


def advice(view: View, known: Known = NOTHING) -> tuple[Finding, list[str]]:
    """What leads, and the points."""
    (_, first), *rest = said(view, known)
    return first, [finding.text for _, finding in rest[:MOST_POINTS]]


def headline(first: Finding, step: str) -> str:
    """What stands above all else: what happened, and what to work on, unless the next step says
    that. step: in words; "" if it is not known."""
    return first.happened if step else first.text


def said(view: View, known: Known = NOTHING) -> list[tuple[Rule, Finding]]:
    """What there is to say, the weightiest first; one at least."""
    case = Case(view, known)
    findings: list[tuple[Rule, Finding]] = []
    for rule in RULES:
        finding = rule.says(case)
        if finding and rule.is_first:
            return [(rule, finding)]
        if finding:
            findings.append((rule, finding))
    told: list[tuple[Rule, Finding]] = []
    explained: set[Fault] = set()
    for rule, finding in sorted(findings, key=lambda pair: -pair[1].weight):
        new = finding.explains - explained
        if 2 * len(new) >= len(finding.explains):
            told.append((rule, finding))
            explained |= finding.explains
    return told or [(CLEAN, _clean(case))]


def _clean(case: Case) -> Finding:
    review = case.review
    tally = review.tally
    spread = review.timing.deviation_ms
    steady = "" if spread is None else f", steady to {ms(spread)}"
    if not review.tempos and abs(review.played_tempo / review.tempo - 1) >= NOTICED:
        steady += f", at {pulses(review.played_tempo)} where {pulses(review.tempo)} is written"
    off = pedal_off(case)
    if off:
        steady += (
            f"; your left foot comes {ms(off)} {'early' if off < 0 else 'late'}, less than the "
            f"{PEDAL_MS:.0f} ms that a pedal's note may be off"
        )
    if tally.hit < tally.expected or tally.extra:
        extra = f", {tally.extra:,} extra" if tally.extra else ""
        return Finding(
            f"{tally.hit:,} of {tally.expected:,} strokes clean{extra}{steady}: sing what is "
            "written while you play, and play all of it and no more."
        )
    return Finding(f"All {tally.expected:,} strokes clean{steady}.")


RULES = (
    Rule("short", short, True),
    Rule("other kit", other_kit, True),
    Rule("hands changed over", hands_changed_over, True),
    Rule("other exercise", other_exercise, True),
    Rule("unsure", unsure),
    Rule("lost", lost),
    Rule("silent", silent),
    Rule("shifted", shifted),
    Rule("otherwise", otherwise),
    Rule("free", free),
    Rule("fills", fills),
    Rule("stops", stops),
    Rule("pulled", pulled),
    Rule("limb drops out", limb_drops_out),
    Rule("count falls apart", count_falls_apart),
    Rule("tempo", ramp),
    Rule("strokes missing", strokes_missing),
    Rule("extras", extras),
    Rule("moved", moved),
    Rule("added", added),
    Rule("triggers", triggers),
    Rule("apart", apart),
    Rule("early or late", early_or_late),
    Rule("now one, now the other", now_one_now_the_other),
    Rule("half or double", half_or_double),
    Rule("pace", pace),
    Rule("swung", swung),
    Rule("off the click", off_the_click),
    Rule("accents moved", accents_moved),
    Rule("accents", accents),
    Rule("ghosts", ghosts),
    Rule("hands unequal", hands_unequal),
    Rule("grace notes", graces),
    Rule("doubles", doubles),
    Rule("loose count", loose_count),
    Rule("unsteady", unsteady),
)
CLEAN = Rule("clean", _clean)
