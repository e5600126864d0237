"""A review in the terminal: the sentence, the figures, and a picture in characters.

Works piped, at 80 columns and without colour, and in plain letters where a terminal has no others.
"""

from collections.abc import Iterable, Sequence
from textwrap import wrap
from typing import TYPE_CHECKING

from midiforge.hear.figures import Timing, deviation, mean, of_step
from midiforge.hear.known import NOTHING, Known
from midiforge.hear.review import Review
from midiforge.printable import many, print_line
from midiforge.report import studies, words
from midiforge.report.rules.case import Finding
from midiforge.report.rules.evenness import loose_counts
from midiforge.report.rules.missing import often_missed
from midiforge.report.sentence import advice, headline
from midiforge.report.view import Column, View

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

WIDEST = 100
_LEAST_ROUNDS_DRAWN = 4
_MOST_ROWS = 64
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


class _Page:
    """One review being printed."""

    def __init__(self, view: View, console: "Console") -> None:
        self.view, self.review, self.console = view, view.review, console
        self.width = max(min(console.width, WIDEST), 40)
        self.unicode = console.encoding.lower().startswith("utf")

    def begin(
        self, first: Finding, points: Sequence[str], chosen: str, step: str, verdict: str
    ) -> None:
        self._lines([headline(first, step)], style="bold")
        self._lines(filter(None, [verdict]))
        if step:
            self._lines([f"{words.NEXT}: {step}"])
        self._say()
        for point in points:
            self._lines([point], first="- ", later="  ")
        if points:
            self._say()
        self._lines([words.heading(self.review)])
        self._lines([self._facts()], style="dim")
        if chosen:
            self._lines([f"{chosen[:1].upper()}{chosen[1:]}."], style="dim")

    def figures(self) -> None:
        self._say()
        self._table(self._limbs())
        self._notes()
        self._other_kinds()
        self._places()
        self._course()
        self._tempos()
        self._together()
        self._doubles()
        self._levels()
        self._besides()
        self._heading("To know about these figures")
        for remark in words.remarks(self.view):
            self._lines([remark], first="- ", later="  ")
        self._heading("Professionals")
        for text in studies.about(self.review.known_delay_ms is not None):
            self._lines([text], first="- ", later="  ")

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
            for line in wrap(
                text, self.width, initial_indent=first, subsequent_indent=later,
                break_on_hyphens=False,
            ):  # fmt: skip
                self._say(line, style)

    def _heading(self, text: str, more: str = "") -> None:
        self._say()
        self._lines([f"{text}{f': {more}' if more else ''}"], style="cyan")

    def _table(self, table: "Table") -> None:
        options = self.console.options.update(width=self.width, highlight=False)
        for line in self.console.render_lines(table, options, pad=False):
            print_line(self.console, ((each.text, each.style or "") for each in line))

    def _new_table(self, *columns: str, lead: int = 1, gap: int = 2) -> "Table":
        """A table whose first `lead` columns are words, the others figures."""
        from rich.table import Table

        table = Table(box=None, pad_edge=False, padding=(0, gap, 0, 0), header_style="dim")
        for i, column in enumerate(columns):
            table.add_column(column, justify="left" if i < lead else "right", no_wrap=True)
        return table

    # The parts

    def _facts(self) -> str:
        review = self.review
        minutes, seconds = divmod(round(review.seconds), 60)
        facts = (
            review.source,
            words.tempo_words(review),
            f"{many(round(review.bars), 'bar')} in {minutes}:{seconds:02d}",
            f"drift {words.drift(review)}",
        )
        return ", ".join(filter(None, facts))

    def _limbs(self) -> "Table":
        review = self.review
        table = self._new_table(
            "", "clean", "missed", "extra", "on average", "steady to", "of step", "professionals",
            gap=1,
        )  # fmt: skip
        published = studies.professionals(review.tempo)
        for each in review.limbs:
            known = published.get(each.limb)
            table.add_row(
                each.limb.title + ("" if each.certain else " *"),
                f"{each.tally.hit}/{each.tally.expected}",
                str(each.tally.missed),
                str(each.tally.extra) if each.certain else "-",
                *self._timing(each.timing),
                known.said.removeprefix("about ") if known else "-",
            )
        tally = review.tally
        table.add_row(
            "all",
            f"{tally.hit}/{tally.expected}",
            str(tally.missed),
            str(tally.extra),
            *self._timing(review.timing),
            "",
        )
        return table

    def _timing(self, found: Timing) -> tuple[str, str, str]:
        return (
            words.side(found.mean_ms),
            words.ms(found.deviation_ms),
            of_step(found.deviation_percent),
        )

    def _notes(self) -> None:
        self._say()
        if self.view.uncertain:
            self._lines(["* by what is written: MIDI does not tell these limbs apart"])
        self._lines(
            [
                "Steady to: standard deviation, in ms and per cent of a grid step. Professionals: "
                f"about, at {studies.tempos_of(self.review.tempo)}, against a metronome (Fujii et "
                "al. 2011, see the end); usual, not a target."
            ],
            style="dim",
        )

    def _other_kinds(self) -> None:
        """What was neither clean nor wrong, limb by limb."""
        kinds = self.view.other_kinds
        if not kinds:
            return
        self._heading("Neither clean nor wrong")
        table = self._new_table("", *kinds)
        for each in self.review.limbs:
            some = [getattr(each.tally, kind) for kind in kinds]
            if any(some):
                table.add_row(each.limb.title + ("" if each.certain else " *"), *map(str, some))
        table.add_row("all", *(str(getattr(self.review.tally, kind)) for kind in kinds))
        self._table(table)
        self._lines([words.OTHER_KINDS], style="dim")

    def _places(self) -> None:
        """A line for each place in the bar and limb, with the spread of its strokes."""
        lanes = self.view.lanes
        reach = self.view.reach_ms()
        counts = max(len(lane.count) for lane in lanes)
        half = (self.width - counts - 27) // 2 - 1
        self._heading("Where strokes lie", f"ahead and behind, to {reach} ms")
        left, right = f"{reach} ahead", f"{reach} behind"
        self._say(f"{'':{counts + 6}}{left.ljust(half)}|{right.rjust(half)}", "dim")
        before = ""
        for lane in lanes[:_MOST_ROWS]:
            count = lane.count if lane.count != before else ""
            before = lane.count
            drawn = self._strip(lane.offs, reach, 2 * half + 1)
            spread = deviation(lane.offs)
            missed = f"{len(lane.missed)} missed" if lane.missed else ""
            said = (
                f"{words.signed(mean(lane.offs)):>4} ±{spread:2.0f}" if spread is not None else ""
            )
            said = said if self.unicode else said.replace("±", "+-")
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
        ordered = sorted(offs)
        if ordered:
            last = len(ordered) - 1
            outer = at(ordered[round(0.05 * last)]), at(ordered[round(0.95 * last)])
            inner = at(ordered[round(0.25 * last)]), at(ordered[round(0.75 * last)])
            for mark, (low, high) in (("-", outer), ("=", inner)):
                cells[low : high + 1] = mark * (high + 1 - low)
        cells[half] = "|"
        if ordered:
            middle = mean(ordered)
            cells[at(middle or 0.0)] = "o"
        return "".join(cells)

    def _course(self) -> None:
        columns = self.view.columns(self.width - 26)
        if len(columns) < _LEAST_ROUNDS_DRAWN:
            return
        size = columns[0].last - columns[0].first + 1
        each = "a bar" if size == 1 else f"{size} bars"
        self._heading("The course", f"one character is {each}, {columns[-1].last} bars in all")
        spreads = [column.timing.deviation_ms for column in columns]
        self._row("steady to", self._spark(spreads), self._span(spreads, " ms"))
        tempos = [column.tempo for column in columns]
        self._row("tempo", self._spark(tempos, from_zero=False), self._span(tempos, "", 1))
        for label, some in (
            ("missed", [column.tally.missed for column in columns]),
            ("extra", [column.tally.extra for column in columns]),
        ):
            if any(some):
                drawn = "".join("." if not n else str(n) if n < 10 else "#" for n in some)
                self._row(label, drawn, f"{sum(some)} in all")
        self._rounds(columns)

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

    def _rounds(self, columns: Sequence[Column]) -> None:
        worst = max(columns, key=lambda column: (column.tally.missed, column.tally.extra))
        if worst.tally.missed >= 3:
            said = f"bar {worst.first}" if worst.first == worst.last else (
                f"bars {worst.first}-{worst.last}"
            )  # fmt: skip
            self._lines([f"Most are missing in {said}: {worst.tally.missed}."])

    def _tempos(self) -> None:
        tempos = self.review.tempos
        if not tempos:
            return
        self._heading("Tempo by tempo")
        table = self._new_table("tempo", "clean", "on average", "steady to", "of step")
        for each in tempos:
            table.add_row(
                words.pulses(each.tempo),
                f"{each.tally.hit}/{each.tally.expected}",
                *self._timing(each.timing),
            )
        self._table(table)

    def _together(self) -> None:
        if not self.view.meetings:
            return
        self._heading("Limbs that should land together", "by how much they miss each other")
        table = self._new_table("", "on", "times", "steady to", lead=2)
        for each in self.view.meetings:
            table.add_row(
                words.gap(each.limbs, each.gap_ms),
                " ".join(each.counts[:8]) + (" ..." if len(each.counts) > 8 else ""),
                str(each.times),
                words.ms(each.deviation_ms),
            )
        self._table(table)

    def _doubles(self) -> None:
        if not self.review.doubles:
            return
        self._heading("Double strokes of the sticking", "the second against the first")
        table = self._new_table("", "times", "comes", "steady to", "velocity")
        for each in self.review.doubles:
            late = each.late_ms
            said = (
                "even" if abs(late) < 0.5 else f"{words.ms(late)} {'late' if late > 0 else 'early'}"
            )
            table.add_row(
                each.limb.title + ("" if each.limb not in self.view.uncertain else " *"),
                str(each.times),
                said,
                words.ms(each.deviation_ms),
                words.percent(each.softer) if self.view.has_dynamics else "-",
            )
        self._table(table)

    def _levels(self) -> None:
        some = [each for each in self.review.limbs if each.levels.accent or each.levels.ghost]
        if not some or not self.view.has_dynamics:
            return
        self._heading("Accents, taps and ghosts", "velocities, 1 to 127")
        table = self._new_table(
            "", "accents", "taps", "ghosts", "accents to taps", "taps as loud as accents"
        )
        for each in some:
            levels = each.levels
            table.add_row(
                each.limb.title + ("" if each.certain else " *"),
                *(
                    "-" if value is None else f"{value:.0f}"
                    for value in (levels.accent, levels.tap, levels.ghost)
                ),
                "-" if levels.ratio is None else f"{levels.ratio:.2f}",
                words.percent(levels.overlap),
            )
        self._table(table)

    def _besides(self) -> None:
        found = words.found_besides(self.review)
        if not found:
            return
        self._heading("Found besides")
        for text in found:
            self._lines([text], first="- ", later="  ")
