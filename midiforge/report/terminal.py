"""A review in the terminal: the sentence, the figures, and a picture in characters.

Works piped, at 80 columns and without colour, and in plain letters where a terminal has no others.
"""

from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from midiforge.hear.figures import deviation, mean
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.review import Review
from midiforge.printable import print_line
from midiforge.report import studies, tables, words
from midiforge.report.rules.case import Finding
from midiforge.report.rules.evenness import loose_counts
from midiforge.report.rules.missing import often_missed
from midiforge.report.sentence import advice, headline
from midiforge.report.view import View

if TYPE_CHECKING:
    from rich.console import Console

_NARROWEST, _WIDEST = 40, 100
_LEAST_ROUNDS_DRAWN = 4
_MOST_ROWS, _MOST_COUNTS = 64, 8
_MANY_MISSED = 3  # strokes in one column
_BLOCKS, _PLAIN_BLOCKS = "▁▂▃▄▅▆▇█", ".:-=+*#@"


def show_review(
    review: Review,
    console: "Console",
    known: Known = NOTHING,
    step: str = "",
    verdict: str = "",
    figures: bool = True,
) -> None:
    """Prints a review, as wide as the console.

    known: what is known besides. step: what to do next, in words; "" if that is not known.
    verdict: why the take counts as good for its exercise or not, likewise. figures: whether they
        are shown, which say nothing where the take is hardly of the exercise.
    """
    view = View(review)
    page = _Page(view, console)
    page.begin(*advice(view, known), known.chosen, step, verdict)
    if figures:
        page.figures()
    page.end()


def print_wrapped(
    console: "Console", text: str, style: str = "", first: str = "", later: str = ""
) -> None:
    """Prints a text as wide as the console; first, later: what stands before its lines."""
    lines = wrap(
        text,
        _width(console),
        initial_indent=first,
        subsequent_indent=later,
        break_on_hyphens=False,
    )
    for line in lines or [""]:
        print_line(console, [(line, style)])


def _width(console: "Console") -> int:
    return max(min(console.width, _WIDEST), _NARROWEST)


class _Page:
    """One review being printed."""

    def __init__(self, view: View, console: "Console") -> None:
        self.view, self.review, self.console = view, view.review, console
        self.width = _width(console)
        self.unicode = console.encoding.lower().startswith("utf")

    def begin(
        self, first: Finding, points: Sequence[str], chosen: str, step: str, verdict: str
    ) -> None:
        self._lines([headline(first, step)], style="bold")
        self._lines(filter(None, [verdict]))
        if step:
            self._lines([f"{words.NEXT}: {step}"])
        self._say()
        self._points(points)
        if points:
            self._say()
        self._lines([words.heading(self.review)])
        self._lines([self._facts()], style="dim")
        if chosen:
            self._lines([f"{chosen[:1].upper()}{chosen[1:]}."], style="dim")

    def figures(self) -> None:
        view = self.view
        self._limbs()
        self._other_kinds()
        self._places()
        self._course()
        self._section(
            "Tempo by tempo",
            ("tempo", "clean", "on average", "steady to", "of step"),
            tables.tempos(view),
        )
        self._section(
            "Limbs that should land together: by how much they miss each other",
            ("", "on", "times", "steady to"),
            tables.together(view, _MOST_COUNTS),
            lead=2,
        )
        self._section(
            "Double strokes of the sticking: the second against the first",
            ("", "times", "comes", "steady to", "velocity"),
            tables.doubles(view),
        )
        self._section(
            "Grace notes: how long before its stroke the last of them comes",
            ("", "times", "with a grace note", "before"),
            tables.graces(view),
        )
        self._section(
            "Accents, taps and ghosts: velocities, 1 to 127",
            ("", "accents", "taps", "ghosts", "accents to taps", "taps as loud as accents"),
            tables.levels(view),
        )
        besides = words.found_besides(self.review)
        if besides:
            self._heading("Found besides")
            self._points(besides)
        self._heading("To know about these figures")
        self._points(words.remarks(view))
        self._heading("Professionals")
        self._points(studies.about(self.review.known_delay_ms is not None))

    def end(self) -> None:
        self._say()
        self._lines(["Mind your ears and your hands: breaks, and stop when it hurts."], style="dim")

    # Plain lines

    def _say(self, text: str = "", style: str = "") -> None:
        print_line(self.console, [(text, style)])

    def _lines(
        self, texts: Iterable[str], style: str = "", first: str = "", later: str = ""
    ) -> None:
        for text in texts:
            print_wrapped(self.console, text, style, first, later)

    def _points(self, texts: Iterable[str]) -> None:
        self._lines(texts, first="- ", later="  ")

    def _heading(self, text: str) -> None:
        self._say()
        self._lines([text], style="cyan")

    def _section(
        self, heading: str, columns: Sequence[str], rows: Sequence[tables.Row], lead: int = 1
    ) -> None:
        if rows:
            self._heading(heading)
            self._table(columns, rows, lead)

    def _table(
        self, columns: Sequence[str], rows: Iterable[tables.Row], lead: int = 1, gap: int = 2
    ) -> None:
        """A table whose first `lead` columns are words, the others figures."""
        from rich.table import Table

        table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), header_style="dim")
        for i, column in enumerate(columns):
            table.add_column(column, justify="left" if i < lead else "right", no_wrap=True)
        for row in rows:
            table.add_row(*row)
        options = self.console.options.update(width=self.width, highlight=False)
        for line in self.console.render_lines(table, options, pad=False):
            print_line(self.console, ((part.text, part.style or "") for part in line))

    # The parts

    def _facts(self) -> str:
        review = self.review
        drift = f"drift {words.drift(review)}"
        facts = (review.source, words.tempo_words(review), words.length(review), drift)
        return ", ".join(filter(None, facts))

    def _limbs(self) -> None:
        review, view = self.review, self.view
        published = studies.professionals(review.tempo)
        usual = [studies.usual(published.get(limb.limb)) or "-" for limb in review.limbs]
        rows = zip(tables.limbs(view, comma=""), (*usual, ""), strict=True)
        figures = ("clean", "missed", "extra", "on average", "steady to", "of step")
        self._say()
        self._table(("", *figures, "professionals"), [(*row, of) for row, of in rows], gap=1)
        self._say()
        if view.uncertain:
            self._lines(["* by what is written: MIDI does not tell these limbs apart"])
        self._lines(
            [
                "Steady to: standard deviation, in ms and per cent of a grid step. Professionals: "
                f"about, at {studies.tempos_of(review.tempo)}, against a metronome (Fujii et "
                "al. 2011, see the end); usual, not a target."
            ],
            style="dim",
        )

    def _other_kinds(self) -> None:
        """What was neither clean nor wrong, limb by limb."""
        kinds = self.view.other_kinds
        if not kinds:
            return
        *limbs, whole = tables.other_kinds(self.view)
        rows = [row for row in limbs if any(figure != "0" for figure in row[1:])]
        self._section("Neither clean nor wrong", ("", *kinds), [*rows, whole])
        self._lines([words.OTHER_KINDS], style="dim")

    def _places(self) -> None:
        """A line for each place in the bar and limb, with the spread of its strokes."""
        lanes = self.view.lanes
        reach = self.view.reach_ms()
        counts = max(len(lane.count) for lane in lanes)
        half = (self.width - counts - 27) // 2 - 1
        self._heading(f"Where strokes lie: ahead and behind, to {reach} ms")
        left, right = f"{reach} ahead", f"{reach} behind"
        self._say(f"{'':{counts + 6}}{left.ljust(half)}|{right.rjust(half)}", "dim")
        before = ""
        about = "±" if self.unicode else "+-"
        for lane in lanes[:_MOST_ROWS]:
            count = lane.count if lane.count != before else ""
            before = lane.count
            drawn = self._strip(lane.offs, reach, 2 * half + 1)
            spread = deviation(lane.offs)
            missed = f"{len(lane.missed)} missed" if lane.missed else ""
            said = (
                "" if spread is None else f"{words.signed(mean(lane.offs)):>4} {about}{spread:2.0f}"
            )
            self._say(f"{count:<{counts}} {lane.letters:<4} {drawn} {said:>8} {missed:>10}")
        if len(lanes) > _MOST_ROWS:
            self._say(f"and {len(lanes) - _MOST_ROWS} more, in the JSON and the HTML page", "dim")
        self._lines(
            [
                "R L K H: hands, bass-drum foot, hi-hat foot. o on average, = half of the "
                "strokes, - nine of ten, | where they are due. Figures in ms."
            ],
            "dim",
        )
        apart = [*often_missed(self.view), *loose_counts(self.view)]
        if apart:
            self._lines([f"Falling apart: {'; '.join(apart[:3])}."])

    def _strip(self, offs: Sequence[float], reach: float, wide: int) -> str:
        half = wide // 2

        def at(off: float) -> int:
            return min(max(round(off / reach * half), -half), half) + half

        cells = [" "] * wide
        ordered, last = sorted(offs), len(offs) - 1
        for mark, outside in (("-", 0.05), ("=", 0.25)) if offs else ():
            low, high = (at(ordered[round(share * last)]) for share in (outside, 1 - outside))
            cells[low : high + 1] = mark * (high + 1 - low)
        cells[half] = "|"
        middle = mean(ordered)
        if middle is not None:
            cells[at(middle)] = "o"
        return "".join(cells)

    def _course(self) -> None:
        columns = self.view.columns(self.width - 26)
        if len(columns) < _LEAST_ROUNDS_DRAWN:
            return
        size = "a bar" if columns[0].size == 1 else f"{columns[0].size} bars"
        self._heading(f"The course: one character is {size}, {columns[-1].last} bars in all")
        spreads = [column.timing.deviation_ms for column in columns]
        self._row("steady to", self._spark(spreads), self._span(spreads, " ms"))
        tempos = [column.tempo for column in columns]
        self._row("tempo", self._spark(tempos, from_zero=False), self._span(tempos, "", 1))
        for label in ("missed", "extra"):
            counts = [getattr(column.tally, label) for column in columns]
            if any(counts):
                drawn = "".join("." if not n else str(n) if n < 10 else "#" for n in counts)
                self._row(label, drawn, f"{sum(counts)} in all")
        worst = max(columns, key=lambda column: (column.tally.missed, column.tally.extra))
        if worst.tally.missed >= _MANY_MISSED:
            bars = "bar" if worst.size == 1 else "bars"
            self._lines([f"Most are missing in {bars} {worst.bars}: {worst.tally.missed}."])

    def _row(self, label: str, drawn: str, said: str) -> None:
        self._say(f"{label:<9} {drawn} {said}")

    def _spark(self, values: Sequence[float | None], from_zero: bool = True) -> str:
        blocks = _BLOCKS if self.unicode else _PLAIN_BLOCKS
        known = [value for value in values if value is not None]
        if not known:
            return " " * len(values)
        low = 0.0 if from_zero else min(known)
        # A tempo that keeps within two in a hundred is drawn flat, in the middle.
        span = max(max(known) - low, 1e-9 if from_zero else 0.02 * max(known))
        if not from_zero:
            low -= (span - (max(known) - min(known))) / 2
        top = len(blocks) - 1
        return "".join(
            " " if value is None else blocks[round((value - low) / span * top)] for value in values
        )

    def _span(self, values: Sequence[float | None], unit: str, digits: int = 0) -> str:
        known = [value for value in values if value is not None]
        if not known:
            return ""
        low, high = f"{min(known):.{digits}f}", f"{max(known):.{digits}f}"
        return f"{low}{unit}" if low == high else f"{low} to {high}{unit}"
