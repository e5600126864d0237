"""A review as one HTML page: the sentence, the figures, pictures; it loads nothing and runs no
script, fits a telephone, and prints."""

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from pathlib import Path

from midiforge import __version__
from midiforge.files.own_file import Seal
from midiforge.hear.figures import Timing, deviation, mean, of_step
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.review import LIMBS, Review
from midiforge.printable import many, printable
from midiforge.report import pictures, studies, words
from midiforge.report.rules.evenness import loose_counts
from midiforge.report.rules.missing import often_missed
from midiforge.report.sentence import advice, headline
from midiforge.report.staff import STYLE_OF_STAFF, staff
from midiforge.report.view import Lane, View

_HERE = Path(__file__).parent
_MARK = f'<meta name="generator" content="midiforge {__version__} review">'
_SEAL = Seal("<!-- midiforge review, sha256 {} -->\n")
_MOST_COLUMNS, _MOST_ROWS = 160, 40
_MOST_SPELLED = 1000  # strokes at one place of which it is said how many are missed of how many


def write_page(
    path: Path, review: Review, known: Known = NOTHING, step: str = "", verdict: str = ""
) -> None:
    """Writes the page, as a whole or not at all.

    Raises MidiforgeError where it cannot be written, or a file is there that is no review's page,
    or was changed since.
    """
    _SEAL.write(path, page(review, known, step, verdict))


def page(review: Review, known: Known = NOTHING, step: str = "", verdict: str = "") -> str:
    """The page as text.

    known: what is known besides the review. step: what to do next, in words; "" if that is not
        known. verdict: why the take counts as good for its exercise or not, likewise.
    """
    view = View(review)
    first, points = advice(view, known)
    parts = [
        f"<header><p class=of>{_text(words.heading(review))}</p>",
        f"<p class=small>{_text(_about(review, known.chosen))}</p>",
        f"<h1>{_text(headline(first, step))}</h1>",
    ]
    if verdict:
        parts.append(f"<p>{_text(verdict)}</p>")
    if step:
        parts.append(f"<p class=next><b>{words.NEXT}:</b> {_text(step)}</p>")
    if points:
        parts.append(f"<ul class=points>{_items(points)}</ul>")
    parts += [
        "</header><main>",
        *staff(review),
        *_figures(view),
        *_places(view),
        *_limbs(view),
        *_course(view),
    ]
    parts += [*_tempos(view), *_together(view), *_doubles(view), *_levels(view)]
    parts += [*_besides(view), *_notes(view), "</main>"]
    return body(f"Review: {words.heading(review)}", parts)


def body(title: str, parts: Iterable[str]) -> str:
    """A page with what it consists of, in the style of reviews."""
    lines = [
        "<!DOCTYPE html>",
        '<html lang="en"><head><meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        _MARK,
        f"<title>{_text(title)}</title>",
        f"<style>{(_HERE / 'report.css').read_text(encoding='utf-8')}{STYLE_OF_STAFF}</style>",
        "</head><body>",
        *parts,
        "</body></html>",
    ]
    return "\n".join(lines) + "\n"


def _about(review: Review, chosen: str) -> str:
    minutes, seconds = divmod(round(review.seconds), 60)
    said = [
        Path(review.source).name,
        str(review.exercise.meter),
        words.tempo_words(review),
        f"{many(round(review.bars), 'bar')} in {minutes}:{seconds:02d}",
        chosen,
    ]
    return " · ".join(filter(None, said))


def _figures(view: View) -> Iterator[str]:
    review = view.review
    tally = review.tally
    percent = review.timing.deviation_percent
    step = "" if percent is None else f" ({of_step(percent)} of a step)"
    shown = (
        ("clean strokes", f"{tally.hit:,} of {tally.expected:,}"),
        ("missed", f"{tally.missed:,}"),
        ("extra", f"{tally.extra:,}"),
        (f"steady to, all limbs{step}", words.ms(review.timing.deviation_ms)),
        ("drift", words.drift(review).replace(", ", " ")),
        ("as a whole, delay included", words.side(review.delay_ms)),
    )
    yield "<dl class=figures>"
    for name, value in shown:
        if value != "-":
            yield f"<div><dt>{_text(name)}</dt><dd>{_text(value)}</dd></div>"
    yield "</dl>"


def _places(view: View) -> Iterator[str]:
    reach = view.reach_ms()
    longest = max(len(lane.count) for lane in view.lanes)
    yield (
        "<section><h2>Every stroke about its place in the bar</h2><figure><figcaption>"
        '<span class="key dot"></span>one stroke, ahead to the left, behind to the right, the take '
        'running from top to bottom; <span class="key up"></span>where they lie on average. '
        "Figures: the average and the standard deviation in ms, minus is ahead."
        f"{_letters(view)}</figcaption>"
        f'<table class="strips places" style="--count:{longest}ch"><thead><tr>'
        f"<th class=count scope=col>count<th class=limb scope=col><th>{_scale(reach)}"
        "<th class=said scope=col>ms<th class=gone scope=col>missed</tr></thead><tbody>"
    )
    before = ""
    for lane in view.lanes:
        middle, spread = mean(lane.offs), deviation(lane.offs)
        said = words.signed(middle).replace("-", "\N{MINUS SIGN}") if lane.offs else "-"
        if spread is not None:
            said += f" ±{spread:.0f}"
        label = (
            f"{lane.count}, {lane.title}: {lane.tally.hit} of {lane.tally.expected} strokes, "
            f"{words.side(middle)}, steady to {words.ms(spread)}"
        )
        missed, expected = len(lane.missed), lane.tally.expected
        of = f"<span> of {expected}</span>" if expected < _MOST_SPELLED else ""
        gone = f"{missed}{of}" if missed else ""
        new = lane.count != before
        before = lane.count
        yield (
            f"<tr{' class=first' if new else ''}><th class=count>{_text(lane.count) if new else ''}"
            f'<th class="limb {_colour(lane)}">{lane.letters}<td class={_colour(lane)}>'
            f"{pictures.strip(lane, reach, view.last_bar, label)}<td class=said>{said}"
            f"<td class=gone>{gone}</tr>"
        )
    yield "</tbody></table></figure>"
    apart = [*often_missed(view), *loose_counts(view)]
    if apart:
        yield f"<p>Falling apart: {_text('; '.join(apart[:4]))}.</p>"
    yield "</section>"


def _letters(view: View) -> str:
    """What the letters of the limbs mean, as far as they are used."""
    used = [limb for limb in LIMBS if any(limb in lane.limbs for lane in view.lanes)]
    return " " + ", ".join(f"{limb.letter} {limb.title}" for limb in used) + "."


def _colour(lane: Lane) -> str:
    return lane.limbs[0].value if len(lane.limbs) == 1 else "both"


def _scale(reach: float) -> str:
    return f"<span class=scale><span>{reach:g} ahead</span><span>{reach:g} behind</span></span>"


def _limbs(view: View) -> Iterator[str]:
    review = view.review
    reach = view.reach_ms()
    published = studies.professionals(review.tempo)
    yield (
        "<section><h2>The limbs side by side</h2><figure><figcaption>How many strokes lay where; "
        '<span class="key up"></span>the average, <span class="key thick"></span>one standard '
        'deviation each way, <span class="key dash"></span>professionals, about, at '
        f"{studies.tempos_of(review.tempo)}: usual, not a target (see below).</figcaption>"
        '<table class="strips"><thead><tr><th class=name scope=col>limb'
        f'<th>{_scale(reach)}<th class="said two" scope=col>average</tr></thead><tbody>'
    )
    for each in review.limbs:
        offs = view.offs.get(each.limb, [])
        known = published.get(each.limb)
        side = words.side(each.timing.mean_ms)
        beside = (
            f'<small><span class="key dash"></span>{known.said.removeprefix("about ")}</small>'
            if known
            else ""
        )
        label = f"{each.limb.title}: {side}, steady to {words.ms(each.timing.deviation_ms)}"
        drawn = pictures.hump(offs, each.timing, reach, known.mean_ms if known else None, label)
        yield (
            f"<tr class=first><th class=name>{each.limb.title}{_star(each.limb in view.uncertain)}"
            f'<td class={each.limb.value}>{drawn}<td class="said two">{side}{beside}</tr>'
        )
    yield (
        "</tbody></table></figure><div class=wide><table><thead><tr><th scope=col>limb"
        "<th scope=col>clean<th scope=col>missed<th scope=col>extra"
        "<th scope=col>steady to"
        "<th scope=col>of a step</tr></thead><tbody>"
    )
    for each in review.limbs:
        yield (
            f"<tr><th scope=row>{each.limb.title}{_star(each.limb in view.uncertain)}"
            f"<td>{each.tally.hit:,}/{each.tally.expected:,}<td>{each.tally.missed:,}"
            f"<td>{f'{each.tally.extra:,}' if each.certain else '-'}"
            f"{_spread_cells(each.timing)}</tr>"
        )
    yield "</tbody></table></div>"
    yield from _other_kinds(view)
    if view.uncertain:
        yield (
            "<p class=small>* By what is written: MIDI does not tell these limbs apart, and extra "
            "strokes there are nobody's.</p>"
        )
    yield "</section>"


def _other_kinds(view: View) -> Iterator[str]:
    """What was moved, pulled and added, limb by limb, where anything was."""
    kinds = view.other_kinds
    if not kinds:
        return
    heads = "".join(f"<th scope=col>{kind}" for kind in kinds)
    yield f"<table><thead><tr><th scope=col>limb{heads}</tr></thead><tbody>"
    for limb in view.review.limbs:
        cells = "".join(f"<td>{getattr(limb.tally, kind):,}" for kind in kinds)
        yield f"<tr><th scope=row>{limb.limb.title}{_star(limb.limb in view.uncertain)}{cells}</tr>"
    yield f"</tbody></table><p class=small>{words.OTHER_KINDS}</p>"


def _star(uncertain: bool) -> str:
    """The mark of a hand that is known from the sticking only; it does not part from its word."""
    return "&nbsp;*" if uncertain else ""


def _spread_cells(found: Timing) -> str:
    return f"<td>{words.ms(found.deviation_ms)}<td>{of_step(found.deviation_percent)}"


def _course(view: View) -> Iterator[str]:
    columns = view.columns(_MOST_COLUMNS)
    if len(columns) < 2:
        return
    size = columns[0].last - columns[0].first + 1
    each = "bar by bar" if size == 1 else f"{size} bars at a time"
    edges = [
        abs(column.timing.mean_ms) + (column.timing.deviation_ms or 0.0)
        for column in columns
        if column.timing.mean_ms is not None
    ]
    reach = next((n for n in (20, 40, 60, 80) if n >= max(edges, default=0)), 120)
    band, line = pictures.timing_course(columns, reach)
    axis = f"<div class=scale><span>bar 1</span><span>bar {columns[-1].last:,}</span></div>"
    yield (
        "<section><h2>The course of the take</h2><figure><figcaption>From left to right, "
        f"{each}: the average with one standard deviation each way; the tempo, "
        '<span class="key dash"></span>the written one; strokes missed, upwards, and extra ones, '
        "downwards.</figcaption>"
    )
    yield _panel(
        f"{reach} ms ahead", "strokes", f"{reach} behind",
        pictures.panel(columns, "ahead and behind over the take", band, line),
    )  # fmt: skip
    tempos = [column.tempo for column in columns if column.tempo is not None]
    asked = _asked(view, [column.first for column in columns])
    if tempos:
        low, high = min(*tempos, *asked), max(*tempos, *asked)
        room = max(0.02 * high - (high - low) / 2, 0.002 * high)  # a steady tempo looks steady
        low, high = low - room, high + room
        yield _panel(
            f"{high:.0f} bpm" if high - low >= 4 else f"{high:.1f} bpm", "tempo",
            f"{low:.0f}" if high - low >= 4 else f"{low:.1f}",
            pictures.panel(columns, "tempo over the take",
                           pictures.tempo_course(columns, asked, low, high)),
        )  # fmt: skip
    most = max(max(column.tally.missed, column.tally.extra) for column in columns)
    if most:
        yield _panel(
            f"{most} missed", "", f"{most} extra",
            pictures.panel(columns, "missed and extra strokes over the take",
                           pictures.mistakes_course(columns, most)),
        )  # fmt: skip
    else:
        axis += "<p class=small>Nothing missed, nothing extra.</p>"
    yield f'<div class="panel">{axis}</div></figure>'
    yield from _columns_table(view)
    yield "</section>"


def _panel(top: str, middle: str, bottom: str, drawing: str) -> str:
    named = f"<b>{middle}</b>" if middle else ""
    return (
        f"<div class=panel><div><span>{top}</span>{named}<span>{bottom}</span></div>{drawing}</div>"
    )


def _asked(view: View, bars: Sequence[int]) -> list[float]:
    """The written tempo at the beginning of each of these bars."""
    exercise = view.review.exercise
    found = []
    for bar in bars:
        time = (bar - 1) * exercise.meter.bar
        last = exercise.tempo.first
        for start, tempo in exercise.tempo.changes:
            last = tempo if start <= time else last
        found.append(float(last))
    return found


def _columns_table(view: View) -> Iterator[str]:
    yield (
        "<details><summary>The same in figures</summary><div class=wide><table><thead><tr>"
        "<th scope=col>bars<th scope=col>clean<th scope=col>extra<th scope=col>average"
        "<th scope=col>steady to<th scope=col>tempo</tr></thead><tbody>"
    )
    for column in view.columns(_MOST_ROWS):
        bars = f"{column.first}" if column.first == column.last else f"{column.first}-{column.last}"
        yield (
            f"<tr><th scope=row>{bars}<td>{column.tally.hit:,}/{column.tally.expected:,}"
            f"<td>{column.tally.extra:,}<td>{words.side(column.timing.mean_ms)}"
            f"<td>{words.ms(column.timing.deviation_ms)}"
            f"<td>{'-' if column.tempo is None else f'{column.tempo:.1f}'}</tr>"
        )
    yield "</tbody></table></div></details>"


def _tempos(view: View) -> Iterator[str]:
    if not view.review.tempos:
        return
    yield (
        "<section><h2>Tempo by tempo</h2><div class=wide><table><thead><tr><th scope=col>tempo"
        "<th scope=col>clean<th scope=col>average<th scope=col>steady to<th scope=col>of a step"
        "</tr></thead><tbody>"
    )
    for each in view.review.tempos:
        yield (
            f"<tr><th scope=row>{words.pulses(each.tempo)}"
            f"<td>{each.tally.hit:,}/{each.tally.expected:,}"
            f"<td>{words.side(each.timing.mean_ms)}{_spread_cells(each.timing)}</tr>"
        )
    yield "</tbody></table></div></section>"


def _together(view: View) -> Iterator[str]:
    if not view.meetings:
        return
    yield (
        "<section><h2>Limbs that should land together</h2><div class=wide><table><thead><tr>"
        "<th scope=col>on average<th class=words scope=col>on<th scope=col>times"
        "<th scope=col>steady to</tr></thead><tbody>"
    )
    for each in view.meetings:
        yield (
            f"<tr><th scope=row>{words.gap(each.limbs, each.gap_ms)}"
            f"<td class=words>{_text(' '.join(each.counts))}<td>{each.times:,}"
            f"<td>{words.ms(each.deviation_ms)}</tr>"
        )
    yield "</tbody></table></div></section>"


def _doubles(view: View) -> Iterator[str]:
    if not view.review.doubles:
        return
    yield (
        "<section><h2>Double strokes of the sticking</h2><p class=small>The second stroke against "
        "the first.</p><div class=wide><table><thead><tr><th scope=col>hand<th scope=col>times"
        "<th scope=col>comes<th scope=col>steady to<th scope=col>velocity</tr></thead><tbody>"
    )
    for each in view.review.doubles:
        late = each.late_ms
        said = "even" if abs(late) < 0.5 else f"{words.ms(late)} {'late' if late > 0 else 'early'}"
        strong = words.percent(each.softer) if view.has_dynamics else "-"
        yield (
            f"<tr><th scope=row>{each.limb.title}{_star(each.limb in view.uncertain)}"
            f"<td>{each.times:,}<td>{said}<td>{words.ms(each.deviation_ms)}<td>{strong}</tr>"
        )
    yield "</tbody></table></div></section>"


def _levels(view: View) -> Iterator[str]:
    some = [each for each in view.review.limbs if each.levels.accent or each.levels.ghost]
    if not some or not view.has_dynamics:
        return
    yield (
        "<section><h2>Accents, taps and ghosts</h2><p class=small>Velocities, 1 to 127. Overlap: "
        "how often a tap is as loud as an accent.</p><div class=wide><table><thead><tr>"
        "<th scope=col>limb<th scope=col>accents<th scope=col>taps<th scope=col>ghosts"
        "<th scope=col>accents to taps<th scope=col>overlap</tr></thead><tbody>"
    )
    for each in some:
        levels = each.levels
        cells = "".join(
            f"<td>{'-' if value is None else f'{value:.0f}'}"
            for value in (levels.accent, levels.tap, levels.ghost)
        )
        ratio = "-" if levels.ratio is None else f"{levels.ratio:.2f}"
        yield (
            f"<tr><th scope=row>{each.limb.title}{_star(each.limb in view.uncertain)}{cells}"
            f"<td>{ratio}<td>{words.percent(levels.overlap)}</tr>"
        )
    yield "</tbody></table></div></section>"


def _besides(view: View) -> Iterator[str]:
    found = words.found_besides(view.review)
    if found:
        yield f"<section><h2>Found besides</h2><ul class=notes>{_items(found)}</ul></section>"


def _notes(view: View) -> Iterator[str]:
    known = view.review.known_delay_ms is not None
    yield (
        "<section><h2>To know about these figures</h2>"
        f"<ul class=notes>{_items(words.remarks(view))}</ul></section>"
        f"<section><h2>Professionals</h2><ul class=notes>{_items(studies.about(known))}</ul>"
        "</section><section class=care><h2>Look after yourself</h2>"
        f"<ul>{_items(words.CAUTIONS)}</ul></section>"
    )


def _items(texts: Sequence[str]) -> str:
    return "".join(f"<li>{_text(text)}</li>" for text in texts)


def _text(text: str) -> str:
    """The text, safe between tags and in attributes; control characters are left out."""
    return escape(printable(text, ""))
