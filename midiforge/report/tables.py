"""The rows of a review's tables, whatever draws them: the name of each first, then its figures."""

from midiforge.hear.figures import Tally, Timing, of_step
from midiforge.model.hit import Limb
from midiforge.report import words
from midiforge.report.view import View

Row = tuple[str, ...]


def hits(tally: Tally) -> str:
    """ "98/100"."""
    return f"{tally.hit:,}/{tally.expected:,}"


def timing(timing: Timing) -> Row:
    """Where strokes lie on average, and how steady they are, in ms and of a step."""
    step = of_step(timing.deviation_percent)
    return words.side(timing.mean_ms), words.ms(timing.deviation_ms), step


def limb_name(view: View, limb: Limb) -> str:
    """ "right hand", with a star where MIDI does not tell it from the other."""
    return f"{limb.title} *" if limb in view.uncertain else limb.title


def other_kinds(view: View) -> list[Row]:
    """What was neither clean nor wrong, kind by kind; of all limbs last."""
    kinds, review = view.other_kinds, view.review
    tallies = [(limb_name(view, figures.limb), figures.tally) for figures in review.limbs]
    return [
        (name, *(f"{getattr(tally, kind):,}" for kind in kinds))
        for name, tally in (*tallies, ("all", review.tally))
    ]


def limbs(view: View, comma: str = ",") -> list[Row]:
    """Limb by limb, and of all last: clean, missed, extra, on average, steady to, of a step.

    comma: what parts thousands.
    """
    review = view.review
    rows = [(limb_name(view, of.limb), of.certain, of.tally, of.timing) for of in review.limbs]
    return [
        (
            name,
            f"{tally.hit:{comma}}/{tally.expected:{comma}}",
            f"{tally.missed:{comma}}",
            f"{tally.extra:{comma}}" if is_certain else "-",
            *timing(figures),
        )
        for name, is_certain, tally, figures in (*rows, ("all", True, review.tally, review.timing))
    ]


def tempos(view: View) -> list[Row]:
    """Of an exercise that gets faster: clean, on average, steady to, of a step."""
    return [
        (words.pulses(figures.tempo), hits(figures.tally), *timing(figures.timing))
        for figures in view.review.tempos
    ]


def together(view: View, most: int = 1_000) -> list[Row]:
    """Limbs that should land together: on, times, steady to. most: counts that are named."""
    return [
        (
            words.gap(meeting.limbs, meeting.gap_ms),
            " ".join(meeting.counts[:most]) + (" ..." if len(meeting.counts) > most else ""),
            f"{meeting.times:,}",
            words.ms(meeting.deviation_ms),
        )
        for meeting in view.meetings
    ]


def doubles(view: View) -> list[Row]:
    """The second strokes of doubles against the first: times, comes, steady to, velocity."""
    return [
        (
            limb_name(view, double.limb),
            f"{double.times:,}",
            _late(double.late_ms),
            words.ms(double.deviation_ms),
            words.percent(double.softer) if view.has_dynamics else "-",
        )
        for double in view.review.doubles
    ]


def graces(view: View) -> list[Row]:
    """Flams, drags and ruffs: times, with a grace note, how long before its stroke."""
    return [
        (
            f"{figures.kind}s",
            f"{figures.times:,}",
            f"{figures.heard:,}",
            words.ms(figures.gap_ms),
        )
        for figures in view.review.graces
    ]


def levels(view: View) -> list[Row]:
    """Velocities: accents, taps, ghosts, accents to taps, taps as loud as accents."""
    limbs = view.review.limbs if view.has_dynamics else ()
    return [
        (
            limb_name(view, figures.limb),
            *(_velocity(level) for level in (levels.accent, levels.tap, levels.ghost)),
            "-" if levels.ratio is None else f"{levels.ratio:.2f}",
            words.percent(levels.overlap),
        )
        for figures in limbs
        if (levels := figures.levels).accent or levels.ghost
    ]


def _late(late_ms: float) -> str:
    if abs(late_ms) < 0.5:
        return "even"
    return f"{words.ms(late_ms)} {'late' if late_ms > 0 else 'early'}"


def _velocity(level: float | None) -> str:
    return "-" if level is None else f"{level:.0f}"
