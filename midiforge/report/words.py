"""What every report says in the same words: limbs, milliseconds, what is and is not known."""

from collections.abc import Mapping

from midiforge.hear.limits import OFF_THE_CLICK_MS
from midiforge.hear.review import Review
from midiforge.model.hit import FEET, HANDS, Limb
from midiforge.model.tempo import plain
from midiforge.printable import many
from midiforge.report.view import View

NEXT = "Next"  # heads the line that says what to do next

CAUTIONS = (
    "Ears: module, headphones and click no louder than they must be, and a pause from them now "
    "and then.",
    "Hands, wrists, back, feet: rest a few minutes in every half hour; a faster tempo can wait.",
    "Stop when it hurts, tingles or goes numb; if it comes back, or your ears ring, see a doctor.",
)

HANDS_NOT_TOLD = (
    "On one surface MIDI can't tell the hands apart: which stroke was which hand is taken from "
    "the sticking, and extra strokes there are nobody's."
)
FEET_NOT_TOLD = (
    "On one pad MIDI can't tell the feet apart: which stroke was which foot is taken from what is "
    "written, and extra strokes there are nobody's."
)
NO_DYNAMICS = (
    "Every stroke has the same velocity: the module sends no dynamics, so nothing is said of "
    "accents, ghosts and how even doubles are."
)

# What strokes are that are not as written, in words for one and for many.
KINDS: Mapping[str, tuple[str, str]] = {
    "moved": ("stroke in time on another pad", "strokes in time on another pad"),
    "pulled": ("stroke pulled to another place", "strokes pulled to another place"),
    "extra": ("extra stroke", "extra strokes"),
    "added": (
        "stroke added (an ornament or a fill), not counted",
        "strokes added (ornaments and fills), not counted",
    ),
    "double trigger": (
        "double trigger (a pad that rang twice), not counted",
        "double triggers (a pad that rang twice), not counted",
    ),
    "crosstalk": (
        "shaken pad (a neighbour's stroke set it off), not counted",
        "shaken pads (a neighbour's stroke set them off), not counted",
    ),
    "before": (
        "stroke before the exercise begins, not counted",
        "strokes before the exercise begins, not counted",
    ),
    "grace": ("grace note with its stroke", "grace notes with their strokes"),
    "bounce": ("bounce of a buzz", "bounces of buzzes"),
}


OTHER_KINDS = (
    "Moved: in time, on another pad. Pulled: on its pad, a place of the grid early or late. Added: "
    "an ornament or part of a fill."
)


def ms(value: float | None) -> str:
    """ "12 ms"; a dash where there is no value."""
    return "-" if value is None else f"{abs(value):.0f} ms"


def side(value: float | None) -> str:
    """ "12 ms ahead", "3 ms behind", "on it"; a dash where there is no value."""
    if value is None:
        return "-"
    if abs(value) < 0.5:
        return "on it"
    return f"{ms(value)} {'ahead' if value < 0 else 'behind'}"


def signed(value: float | None) -> str:
    """ "-12", "+3", "0"; a dash where there is no value."""
    if value is None:
        return "-"
    return "0" if abs(value) < 0.5 else f"{value:+.0f}"


def percent(share: float | None) -> str:
    """A share as "3%"."""
    return "-" if share is None else f"{100 * share:.0f}%"


def pulses(tempo: float) -> str:
    """A tempo as "58" or "57.6"."""
    return f"{tempo:.1f}".removesuffix(".0")


def heading(review: Review) -> str:
    """ "5a. >RLL>R >LRR>L from 1e, over Bossa nova"."""
    exercise = review.exercise
    return f"{exercise.number}. {exercise.title}" if exercise.number else exercise.title


def tempo_words(review: Review) -> str:
    """ "quarter = 58, played at 57.6"."""
    exercise = review.exercise
    ends = dict.fromkeys((exercise.tempo.first, exercise.tempo.last))
    said = f"{exercise.meter.pulse_name} = {' to '.join(plain(each) for each in ends)}"
    if len(ends) > 1:
        return said
    return f"{said}, played at {pulses(review.played_tempo)}"


def length(review: Review) -> str:
    """ "8 bars in 0:21"."""
    minutes, seconds = divmod(round(review.seconds), 60)
    return f"{many(round(review.bars), 'bar')} in {minutes}:{seconds:02d}"


def delay(review: Review) -> str:
    """What is known of the delay, and what it is not."""
    whole, known = review.delay_ms, review.known_delay_ms
    if whole is None:
        return (
            "Nothing in the take says when its first downbeat was due. Ahead and behind are told "
            "from the middle of your own strokes; whether you were early or late as a whole "
            "cannot be known."
        )
    said = "after" if whole >= 0 else "before"
    first = f"As a whole your strokes came {ms(whole)} {said} they were due"
    if known is None:
        return (
            f"{first}. That is the delay of module, cable and computer and your own habit "
            "together; a MIDI file can't tell the two apart, and it is not counted against you. "
            "Ahead and behind are told from the middle of your own strokes."
        )
    return (
        f"{first}; with the {ms(known)} of delay that you gave taken off, you are "
        f"{side(review.own_ms)}. Ahead and behind are told from the click."
    )


def drifts(review: Review) -> float:
    """How far the take drifts as a whole, as a multiple of what is heard; 0 for less than that."""
    limit = max(OFF_THE_CLICK_MS, 0.25 * review.step_ms)
    whole = abs(review.drift_ms_per_bar or 0.0) * review.bars / limit
    return whole if whole >= 1 else 0.0


def drift(review: Review) -> str:
    """How the pace went: "rushing: each bar 2.1 ms sooner"."""
    value = review.drift_ms_per_bar
    if value is None:
        return "too short to tell"
    if not drifts(review):
        return "none"
    return f"{abs(value):.1f} ms a bar, {'rushing' if value < 0 else 'dragging'}"


def gap(limbs: tuple[Limb, Limb], gap_ms: float) -> str:
    """ "left foot 20 ms before right hand"."""
    one, other = limbs
    if abs(gap_ms) < 0.5:
        return f"{one.title} and {other.title} together"
    first, second = (one, other) if gap_ms > 0 else (other, one)
    return f"{first.title} {ms(gap_ms)} before {second.title}"


def found_besides(review: Review) -> list[str]:
    """What the take has besides the strokes of the exercise, one line each."""
    lines = [many(review.kinds[kind], *KINDS[kind]) for kind in KINDS if review.kinds.get(kind)]
    for (wanted, heard), times in review.other_zones.items():
        lines.append(f"{heard} instead of {wanted}: {many(times, 'time')} (same pad, counted)")
    return lines


def remarks(view: View) -> list[str]:
    """What a reader has to know of the figures, one sentence each."""
    sentences = [delay(view.review)]
    if view.uncertain & {*HANDS}:
        sentences.append(HANDS_NOT_TOLD)
    if view.uncertain >= {*FEET}:
        sentences.append(FEET_NOT_TOLD)
    if not view.has_dynamics and view.review.tally.hit > 1:
        sentences.append(NO_DYNAMICS)
    return sentences + [f"{text[:1].upper()}{text[1:]}." for text in view.review.remarks]
