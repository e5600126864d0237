"""Flams, drags and ruffs: whether their grace notes are there, and where."""

from midiforge.hear.figures import GraceFigures
from midiforge.hear.limits import LEAST_TIMES
from midiforge.model.hit import OrnamentKind
from midiforge.report.rules.case import LEAST_MISSED, MISSED, SOUND, Case, Finding
from midiforge.report.words import ms

# A grace note nearer to its stroke than this is heard as one with it: flat. Farther away than this,
# or than twice of what the drill asks for, it is heard as a stroke of its own. Ours; the flams of
# the library come 30 ms before their strokes.
FLAT_MS, WIDE_MS = 10.0, 80.0


def graces(case: Case) -> Finding | None:
    """Grace notes that are with their strokes, far before them, or left out."""
    for figures in case.review.graces:
        finding = _flat_or_wide(case, figures) or _left_out(figures)
        if finding:
            return finding
    return None


def _left_out(figures: GraceFigures) -> Finding | None:
    name, times = figures.kind, figures.times
    missed = times - figures.heard
    if missed < LEAST_MISSED or missed < MISSED * times:
        return None
    return Finding(
        f"{missed:,} of {times:,} {name}s have no grace note, or one so near that the module hears "
        "one stroke: let the grace note fall first, from low, and hear both.",
        SOUND * missed / times / MISSED,
        frozenset({("graces",)}),
    )


def _flat_or_wide(case: Case, figures: GraceFigures) -> Finding | None:
    gap, kind = figures.gap_ms, figures.kind
    if gap is None or figures.heard < max(LEAST_TIMES, figures.times / 2):
        return None
    touch = case.review.exercise.touch
    wide = max(WIDE_MS, 2 * (touch.flam_ms if kind is OrnamentKind.FLAM else touch.drag_ms))
    if FLAT_MS <= gap <= wide:
        return None
    where = "with its stroke" if abs(gap) < 1 else f"{ms(gap)} before its stroke"
    if gap <= -1:
        where = f"{ms(gap)} after its stroke"
    over = gap / wide if gap > wide else FLAT_MS / max(gap, FLAT_MS / 4)
    return Finding(
        f"Your {kind}s are {'wide' if gap > wide else 'flat'}, the grace note {where}: hold one "
        "stick low and the other high, and let both fall at once.",
        SOUND * over,
        frozenset({("graces",)}),
    )
