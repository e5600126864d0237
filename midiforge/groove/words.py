"""What is said of a groove that was brought in."""

from collections import Counter
from collections.abc import Sequence

from midiforge.groove.imported import TIME_LAYER, Imported, Wrong
from midiforge.groove.settled import tempo_text
from midiforge.kits.kit import DEFAULT

_SURE, _LIKELY = 0.9, 0.7
_MOST_OF_IT = 0.8  # of the strokes that a loop should explain
_FEW = 16  # kinds of bar and changes, which may well be more than there are bars
_AT_A_GLANCE = 8  # bars; a form of no more needs not be told in short
_MUCH = 4  # strokes of a bar that did not fit; more are said in one line


def summary(found: Imported) -> list[str]:
    """What was found, one sentence each, the most important first."""
    said = [_of_time(found), _of_grid(found), _of_loop(found)]
    if found.ornaments:
        words = [f"{n} {word}{'s' if n > 1 else ''}" for word, n in found.ornaments.items()]
        said.append(f"Ornaments in the loop: {', '.join(words)}.".replace("buzzs", "buzzes"))
    if all(who.startswith(TIME_LAYER) for who, _, _ in found.parts):
        said.append("Nothing in it is for a drummer's hands or feet: add a sticking or feet to it.")
    else:
        said.append("MIDI does not say which hand or foot: the limbs are a guess.")
    if found.kit_chosen and found.kit.name != DEFAULT:
        said.append(f"The kit {found.kit.name} knows most of its notes; another can be named.")
    if not found.cells and found.explained < _MOST_OF_IT * found.strokes:
        said.append("Much of it does not come round; it may help to say tempo, meter and bars.")
    if found.cells + found.changes > max(_FEW, found.bars):
        said.append(
            "Much of it does not come round: hardly two bars are alike; it may help to say tempo "
            "and meter."
        )
    if found.unknown:
        notes = ", ".join(f"{number} ({times})" for number, times in found.unknown.items())
        said.append(f"Notes that the kit {found.kit.name} does not know, and how often: {notes}.")
    if found.elsewhere:
        others = ", ".join(f"{number} ({times})" for number, times in found.elsewhere.items())
        said.append(f"Channels left aside, and their notes: {others}.")
    if found.bounces:
        said.append(
            f"Left out: {found.bounces} times that the beater of the bass drum came back by itself."
        )
    if found.clicks:
        said.append(f"Left out: {found.clicks} notes of a click.")
    return said


def _of_time(found: Imported) -> str:
    tempo = tempo_text(found.tempo)
    pulse = found.meter.pulse_name
    where = {
        "file": "as the file says",
        "given": "as given",
        "found": "found from the strokes",
        "assumed": "assumed, for the file has none; it can be given",
    }[found.tempo_from]
    drift = ""
    if found.tempo_from == "found" and found.fastest - found.slowest > 0.02 * found.tempo:
        drift = f", between {found.slowest:.1f} and {found.fastest:.1f} on the way"
    if found.sure >= 1 and found.tempo_from != "found":
        return f"{tempo} {pulse} notes a minute, {where}."
    word = "sure" if found.sure >= _SURE else "likely" if found.sure >= _LIKELY else "a mere guess"
    return (
        f"{tempo} {pulse} notes a minute, {where}{drift}; that this is the beat, and where the "
        f"bar begins, is {word}."
    )


def _of_grid(found: Imported) -> str:
    meter = f"{found.meter}"
    if found.meter_from in ("found", "assumed"):
        meter += f" ({found.meter_from})"
    beat = "beat"
    if found.meter.is_mixed:
        beat = f"{found.meter.pulse_name} note"
        if found.meter_from == "file":
            whole = f"{found.meter.numerator}/{found.meter.unit}"
            meter += f" ({whole}, in groups as its strokes are)"
    grid = f"{meter}, {found.steps} step{'s' * (found.steps > 1)} to a {beat}"
    if found.swing:
        grid += f", {found.swing_pair}s swung {found.swing}"
    if found.exact:
        return f"{grid}: every stroke of the loop is on it, to a tick."
    late = ""
    if abs(found.late) >= 1:
        late = f", on average {abs(found.late):.0f} ms {'late' if found.late > 0 else 'early'}"
    return (
        f"{grid}: strokes were moved to it by {found.mean_shift:.0f} ms on average, "
        f"{found.largest_shift:.0f} ms at most{late}."
    )


def _of_loop(found: Imported) -> str:
    bars = f"{found.bars} bar{'s' * (found.bars > 1)}"
    if found.cells:
        kinds = "of one kind" if found.cells == 1 else f"of {found.cells} kinds"
        if found.changes:
            kinds += f" and {found.changes} change{'s' * (found.changes > 1)} in them"
        share = f"{found.explained} of {found.strokes} strokes"
        said = (
            f"{bars} from bar {found.first_bar} on, {kinds}, each as it was mostly played: {share}."
        )
        if found.bars <= _AT_A_GLANCE or not found.sections:
            return said
        in_short = ", ".join(section.said(found.first_bar) for section in found.sections)
        return f"{said} In short: bars {in_short}."
    times = f"{found.rounds:.1f}".removesuffix(".0")
    share = f"{found.explained} of {found.strokes} strokes"
    return f"A loop of {bars} from bar {found.first_bar} on, {times} times: {share}."


def details(found: Imported, most: int = 12) -> list[str]:
    """What did not fit, and what else is to be known, one line each; at most so many.

    A bar in which much is different, such as a fill, takes one line.
    """
    by_bar: dict[int, list[Wrong]] = {}
    for each in found.wrong:
        by_bar.setdefault(each.bar, []).append(each)
    lines: list[str] = []
    for bar, wrong in by_bar.items():
        if len(wrong) <= _MUCH:
            lines += map(str, wrong)
        else:
            lines.append(f"bar {bar}: {len(wrong)} strokes ({_kinds(wrong)})")
    said = [f"mind: {remark}" for remark in found.remarks]
    said += [f"not in the drill: {line}" for line in lines[:most]]
    if len(lines) > most:
        said.append(f"not in the drill: {_kinds(found.wrong)} in all; --json has them one by one")
    return said


def _kinds(wrong: Sequence[Wrong]) -> str:
    kinds = Counter(each.what for each in wrong)
    return ", ".join(f"{times} {what}" for what, times in kinds.most_common())


def facts(found: Imported) -> dict[str, object]:
    """Everything, for scripts."""
    return {
        "title": found.title,
        "kind": found.kind,
        "kit": found.kit.name,
        "channel": found.channel,
        "tempo": found.tempo,
        "tempo_from": found.tempo_from,
        "slowest_tempo": round(found.slowest, 2),
        "fastest_tempo": round(found.fastest, 2),
        "meter": str(found.meter),
        "meter_from": found.meter_from,
        "road_map": found.road_map,
        "sections": [
            {
                "first_bar": found.first_bar + section.first,
                "bars": section.bars,
                "kinds": list(section.kinds),
                "fills": section.fills,
            }
            for section in found.sections
        ],
        "sure": round(found.sure, 2),
        "steps": found.steps,
        "swing": found.swing,
        "swing_pair": found.swing_pair,
        "bars": found.bars,
        "first_bar": found.first_bar,
        "rounds": round(found.rounds, 2),
        "exact": found.exact,
        "mean_shift_ms": round(found.mean_shift, 3),
        "largest_shift_ms": round(found.largest_shift, 3),
        "late_ms": round(found.late, 3),
        "strokes": found.strokes,
        "explained": found.explained,
        "double_triggers": found.doubles,
        "click_notes": found.clicks,
        "unknown_notes": {str(number): times for number, times in found.unknown.items()},
        "other_channels": {str(number): times for number, times in found.elsewhere.items()},
        "parts": [
            {"who": who, "pattern": marks, "known_as": list(names)}
            for who, marks, names in found.parts
        ],
        "ornaments": dict(found.ornaments),
        "not_in_the_drill": [
            {"bar": each.bar, "count": each.count, "voice": each.voice, "what": each.what}
            for each in found.wrong
        ],
        "remarks": list(found.remarks),
    }
