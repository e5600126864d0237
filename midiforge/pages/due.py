"""What the player in the page is told to hear a student by: what is due, and how it is paired.

The page pairs strokes by the rule of `hear` (`player/pairing.js`); that rule's limits, the pads of
the kit and the places on the staff are put into the page here.
"""

from collections.abc import Iterator
from fractions import Fraction
from operator import attrgetter
from typing import Any

from midiforge.engraving.heads import FURTHEST, HIGH, MAGNIFIED, WIDE, heads_of, height_of
from midiforge.engraving.shapes import SPACE
from midiforge.hear import kinds, pads
from midiforge.hear.asked import rule_of
from midiforge.hear.expected import pad_of, together
from midiforge.hear.limits import STEADY_PERCENT, near_ms
from midiforge.hear.take import EXERCISE_MARK, PLAYED_MARK, START_MARK
from midiforge.kits.kit import Kit
from midiforge.midi.smf import as_written
from midiforge.model.counts import place_name
from midiforge.model.exercise import Exercise
from midiforge.model.hit import Hit, Limb, OrnamentKind
from midiforge.model.piece import SectionKind
from midiforge.pages.booklet import Entry

_MIDDLE = 2 * SPACE  # of the staff, where a stroke that is not written is shown


def hearing(kit: Kit) -> dict[str, Any]:
    """What is the same for all exercises of a page."""
    voices = {number: kit.voice(number) for number in range(128)}
    return {
        "pads": {number: pad_of(voice) for number, voice in voices.items() if voice},
        "channel": kit.channel,
        "velocity": kit.velocities["tap"],
        "near": {limb: near_ms(limb) for limb in Limb},
        "steady": STEADY_PERCENT / 100,
        "marks": {"start": START_MARK, "exercise": EXERCISE_MARK, "played": PLAYED_MARK},
        "look": {"magnified": MAGNIFIED, "furthest": FURTHEST, "wide": WIDE, "high": HIGH},
        "limits": {
            "softer": pads.SOFTER,
            "graceMs": pads.GRACE_MS,
            "buzzMs": pads.BUZZ_APART_MS,
            "doubleMs": pads.DOUBLE_MS,
            "doubleSofter": pads.DOUBLE_SOFTER,
            "beaterMs": pads.BEATER_MS,
            "beaterSofter": pads.BEATER_SOFTER,
            "crosstalkMs": pads.CROSSTALK_MS,
            "crosstalkSofter": pads.CROSSTALK_SOFTER,
            "nextPlace": kinds.NEXT_PLACE,
            "leastPulledMs": kinds.LEAST_PULLED_MS,
            "feet": sorted(pads.FOOT_PADS),
        },
    }


def due(entry: Entry, exercise: Exercise, kit: Kit) -> dict[str, Any] | None:
    """What is due in an exercise once round; None if it asks the player for nothing.

    exercise: as long as the page plays it. Rows of `strokes` have: the place in quarter notes,
    swing included; the note that the kit sends, and the pad; the limbs; how far down the staff; bar
    and count; then what only some have.
    """
    hits = [hit for hit in (*exercise.hits, *exercise.answers) if hit.limb and hit.time >= 0]
    hits.sort(key=attrgetter("time"))
    if not hits:
        return None
    rule = rule_of(exercise, kit)
    meter = exercise.meter
    return {
        **{name: round(getattr(rule, name), 9) for name in ("window", "companion", "grace")},
        "graces": {pad: sorted(others) for pad, others in rule.graces.items()},
        "step": quarters(exercise.step),
        "meter": [meter.numerator, meter.unit],
        **({"title": name} if (name := as_written(exercise.title)) != exercise.title else {}),
        "strokes": list(_strokes(entry, exercise, kit, hits)),
    }


def _strokes(entry: Entry, exercise: Exercise, kit: Kit, hits: list[Hit]) -> Iterator[list[Any]]:
    heads, setting = dict(heads_of(entry.score)), entry.setting
    meter, loop = exercise.meter, entry.score.loop.bars
    first = loop[0].number
    names: dict[Fraction, str] = {}  # of the places of a bar
    calls = [part for part in exercise.sections if part.kind is SectionKind.CALL]
    for at, pad, struck in together(hits, kit, exercise.swing):
        hit = struck[0]
        bar, place = int(hit.time // meter.bar) + 1, hit.time % meter.bar
        written = (bar - first) % len(loop) + first if bar > first else bar
        stands = [heads.get((written, place, it.limb, it.voice)) for it in struck if it.limb]
        tops = [height_of(head, setting) for head in stands if head]
        if place not in names:
            names[place] = place_name(meter, exercise.step, place)
        told = {
            **({"grid": quarters(hit.grid)} if hit.grid != exercise.step else {}),
            **({"ornaments": own} if (own := ornaments(struck)) else {}),
            **(
                {"call": 1}
                if any(part.start <= hit.time < part.start + part.length for part in calls)
                else {}
            ),
        }
        yield [
            quarters(at),
            kit.note(hit.voice),
            pad,
            "+".join(it.limb for it in struck if it.limb),
            round(tops[0] if tops else setting.staff + _MIDDLE, 1),
            bar,
            names[place],
            *([told] if told else []),
        ]


def ornaments(hits: tuple[Hit, ...]) -> list[tuple[str, int]]:
    """Of what a stroke is decorated with the pad, and how many grace notes; 0 of a buzz."""
    return [
        ("", 0)
        if hit.ornament.kind is OrnamentKind.BUZZ
        else (pad_of(hit.ornament.voice), hit.ornament.grace_notes)
        for hit in hits
        if hit.ornament
    ]


def quarters(value: Fraction) -> float:
    """A time as the page is told it."""
    return int(value) if value.denominator == 1 else round(float(value), 7)
