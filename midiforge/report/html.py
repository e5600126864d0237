"""A review as one HTML page: the sentence, the figures, pictures; it loads nothing and runs no
script, fits a telephone, and prints."""

from collections.abc import Iterable, Iterator, Sequence
from html import escape
from pathlib import Path

from midiforge import __version__
from midiforge.files.own_file import Seal
from midiforge.hear.figures import deviation, mean, of_step
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.review import Review
from midiforge.printable import printable
from midiforge.report import pictures, studies, tables, words
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
        *_tables(view),
        *_notes(view),
        "</main>",
    ]
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
    meter, tempo = str(review.exercise.meter), words.tempo_words(review)
    said = (Path(review.source).name, meter, tempo, words.length(review), chosen)
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
    apart = [*often_missed(view), *loose_counts(view)][:4]
    if apart:
        yield f"<p>Falling apart: {_text('; '.join(apart))}.</p>"
    yield "</section>"


def _letters(view: View) -> str:
    """What the letters of the limbs mean, as far as they are used."""
    return f" {', '.join(f'{limb.letter} {limb.title}' for limb in view.limbs)}."


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
    for limb in review.limbs:
        professional = published.get(limb.limb)
        side = words.side(limb.timing.mean_ms)
        label = f"{limb.limb.title}: {side}, steady to {words.ms(limb.timing.deviation_ms)}"
        offs = view.offs.get(limb.limb, [])
        usual_ms = professional.mean_ms if professional else None
        if professional:
            usual = studies.usual(professional)
            side += f'<small><span class="key dash"></span>{usual}</small>'
        yield (
            f"<tr class=first><th class=name>{_cell(tables.limb_name(view, limb.limb))}"
            f"<td class={limb.limb.value}>"
            f"{pictures.hump(offs, limb.timing, reach, usual_ms, label)}"
            f'<td class="said two">{side}</tr>'
        )
    *rows, _ = [(*row[:4], *row[5:]) for row in tables.limbs(view)]  # the average is above
    columns = ("limb", "clean", "missed", "extra", "steady to", "of a step")
    yield f"</tbody></table></figure><div class=wide>{_table(columns, rows)}</div>"
    if view.other_kinds:
        *limbs, _ = tables.other_kinds(view)
        kinds = _table(("limb", *view.other_kinds), limbs)
        yield f"{kinds}<p class=small>{words.OTHER_KINDS}</p>"
    if view.uncertain:
        yield (
            "<p class=small>* By what is written: MIDI does not tell these limbs apart, and extra "
            "strokes there are nobody's.</p>"
        )
    yield "</section>"


def _table(columns: Sequence[str], rows: Iterable[tables.Row], words_in: int = 0) -> str:
    """A table whose rows have names in front. words_in: the column of words, if one is."""
    kinds = [" class=words" if i and i == words_in else "" for i in range(len(columns))]
    heads = (f"<th{kind} scope=col>{column}" for kind, column in zip(kinds, columns, strict=True))
    lines = [f"<table><thead><tr>{''.join(heads)}</tr></thead><tbody>"]
    for name, *figures in rows:
        cells = (f"<td{kind}>{_cell(text)}" for kind, text in zip(kinds[1:], figures, strict=True))
        lines.append(f"<tr><th scope=row>{_cell(name)}{''.join(cells)}</tr>")
    return "\n".join([*lines, "</tbody></table>"])


def _cell(text: str) -> str:
    """Text with a star that does not part from its word."""
    return _text(text).replace(" *", "&nbsp;*")


def _course(view: View) -> Iterator[str]:
    columns = view.columns(_MOST_COLUMNS)
    if len(columns) < 2:
        return
    steps = "bar by bar" if columns[0].size == 1 else f"{columns[0].size} bars at a time"
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
        f"{steps}: the average with one standard deviation each way; the tempo, "
        '<span class="key dash"></span>the written one; strokes missed, upwards, and extra ones, '
        "downwards.</figcaption>"
    )
    yield _panel(
        f"{reach} ms ahead", "strokes", f"{reach} behind",
        pictures.panel(columns, "ahead and behind over the take", band, line),
    )  # fmt: skip
    tempos = [column.tempo for column in columns if column.tempo is not None]
    exercise = view.review.exercise
    asked = [float(exercise.tempo.at((c.first - 1) * exercise.meter.bar)) for c in columns]
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
    yield _columns_table(view)
    yield "</section>"


def _panel(top: str, middle: str, bottom: str, drawing: str) -> str:
    named = f"<b>{middle}</b>" if middle else ""
    return (
        f"<div class=panel><div><span>{top}</span>{named}<span>{bottom}</span></div>{drawing}</div>"
    )


def _columns_table(view: View) -> str:
    columns = ("bars", "clean", "extra", "average", "steady to", "tempo")
    rows = [
        (
            column.bars,
            tables.hits(column.tally),
            f"{column.tally.extra:,}",
            *tables.timing(column.timing)[:2],
            "-" if column.tempo is None else f"{column.tempo:.1f}",
        )
        for column in view.columns(_MOST_ROWS)
    ]
    return (
        f"<details><summary>The same in figures</summary><div class=wide>{_table(columns, rows)}"
        "</div></details>"
    )


def _tables(view: View) -> Iterator[str]:
    yield from _section(
        "Tempo by tempo",
        "",
        ("tempo", "clean", "average", "steady to", "of a step"),
        tables.tempos(view),
    )
    yield from _section(
        "Limbs that should land together",
        "",
        ("on average", "on", "times", "steady to"),
        tables.together(view),
        words_in=1,
    )
    yield from _section(
        "Double strokes of the sticking",
        "The second stroke against the first.",
        ("hand", "times", "comes", "steady to", "velocity"),
        tables.doubles(view),
    )
    yield from _section(
        "Grace notes",
        "How long before its stroke the last of them comes.",
        ("", "times", "with a grace note", "before"),
        tables.graces(view),
    )
    yield from _section(
        "Accents, taps and ghosts",
        "Velocities, 1 to 127. Overlap: how often a tap is as loud as an accent.",
        ("limb", "accents", "taps", "ghosts", "accents to taps", "overlap"),
        tables.levels(view),
    )
    besides = words.found_besides(view.review)
    if besides:
        yield f"<section><h2>Found besides</h2><ul class=notes>{_items(besides)}</ul></section>"


def _section(
    title: str,
    about: str,
    columns: Sequence[str],
    rows: Sequence[tables.Row],
    words_in: int = 0,
) -> Iterator[str]:
    if rows:
        about = f"<p class=small>{about}</p>" if about else ""
        table = _table(columns, rows, words_in)
        yield f"<section><h2>{title}</h2>{about}<div class=wide>{table}</div></section>"


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
