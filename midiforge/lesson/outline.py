"""The outline of a lesson: every piece by number and title, before any of them is written out."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import replace
from fractions import Fraction

from midiforge.drill.drill import Chosen, Drill, Stage
from midiforge.drill.stages import EVERYTHING, FULL
from midiforge.errors import within
from midiforge.frozen import frozen
from midiforge.lesson.compose import Played, compose
from midiforge.lesson.form import tempo_maps
from midiforge.lesson.sameness import digest, line_text, phrase_text
from midiforge.lesson.size import grids, parts_of_a_quarter
from midiforge.model.exercise import Exercise, at_tempos
from midiforge.model.family import Features
from midiforge.model.hit import FEET
from midiforge.model.number import Chooser, Number, Span, numbers_of
from midiforge.model.piece import Moved, Piece, Variant
from midiforge.model.tempo import TempoMap
from midiforge.moves import MOVES
from midiforge.moves.move import Material, turned_over
from midiforge.phrase.pattern import Line
from midiforge.phrase.phrase import Sticking
from midiforge.phrase.sticking import write_sticking


@frozen
class LeftOut:
    """A variant that makes no exercises, and why."""

    variant: Variant
    why: str
    swapped: bool = False  # whether it differs from another in nothing but the hands

    def __str__(self) -> str:
        return f"{self.variant}: {self.why}"


@frozen
class Outline:
    """A piece that is known and not yet written out: `piece()` does that.

    number: from 1, in running order. title: what a person calls it.
    tempos: that it is taught at. repeats: how often its loop goes round in it.
    parts: see `Piece.parts`. content: the same for what comes out the same.
    text: what is to be read with it, its own first.
    """

    drill: Drill
    material: Material
    stage: Stage
    title: str
    tempos: tuple[TempoMap, ...]
    repeats: int
    parts: int
    content: bytes
    number: int = 0
    text: str = ""

    @property
    def numbers(self) -> tuple[Number, ...]:
        """Of its exercises."""
        return numbers_of(self.number, len(self.tempos))

    @property
    def variant(self) -> Variant:
        """As much of the material's as its stage shows."""
        return _shown(self.drill, self.material, self.stage)

    @property
    def feet(self) -> str:
        """What the feet play, in words."""
        return _listed(line.title for line in _feet(self.material, self.stage))

    @property
    def feet_logged(self) -> str:
        """The same as logs have it."""
        return _listed(line.logged or line.title for line in _feet(self.material, self.stage))

    @property
    def ending(self) -> str:
        """What its title has behind the variant."""
        return _ending(self.material, self.stage)

    @property
    def features(self) -> Features:
        """What families are told by."""
        material, stage = self.material, self.stage
        at = tuple(
            f"{number.letter} {tempo}".lstrip().removesuffix(" bpm")
            for number, tempo in zip(self.numbers, self.tempos, strict=True)
        )
        own = self.title, self.ending, self.variant, stage.name
        return Features(*own, self.drill.meter, material.step, at)

    def piece(self) -> Piece:
        """The piece, written out.

        Raises MidiforgeError, naming the drill's file, for music that cannot be played.
        """
        with within(self.drill.source, str(self.material.variant), self.stage.name):
            return compose(self)

    def exercises(self) -> tuple[Exercise, ...]:
        """Its exercises, one for each tempo."""
        return at_tempos(self.piece(), self.tempos)


def outlines(drill: Drill, left_out: Callable[[LeftOut], None] | None = None) -> Iterator[Outline]:
    """The outlines of a drill's pieces in the order they are taught, numbered from 1.

    Each variant goes through the stages. A stage that has come before (the feet alone, under a
    moved phrase) is not repeated. Where the drill chooses (`running`), only what it names, in its
    order, numbered anew.

    left_out: told of every variant that makes no exercises.
    """
    return _chosen(drill, left_out) if drill.running else _as_taught(drill, left_out)


def _as_taught(drill: Drill, left_out: Callable[[LeftOut], None] | None) -> Iterator[Outline]:
    seen: set[bytes] = set()
    called: Counter[str] = Counter()
    tempos, parts = tempo_maps(drill), parts_of_a_quarter(drill)
    own_texts = [(Chooser(spans), text) for spans, text in drill.texts]
    for material in _in_order(drill, left_out):
        for stage in drill.stages:
            played = Played.of(material, stage)
            if played is None:
                continue
            content = digest(stage.name, played.text)
            if content in seen:
                continue
            seen.add(content)
            title = title_of(drill, material, stage)
            called[title] += 1
            if called[title] > 1:
                title += f" ({called[title]})"
            number = len(seen)
            numbers = numbers_of(number, len(tempos))
            texts = [text for chooser, text in own_texts if sum(map(chooser.takes, numbers))]
            text = "\n\n".join(filter(None, [*texts, stage.text]))
            yield Outline(
                drill, material, stage, title, tempos, drill.repeats, parts, content, number, text
            )
    with within(drill.source, "texts"):
        for chooser, _ in own_texts:
            chooser.check()


def _chosen(drill: Drill, left_out: Callable[[LeftOut], None] | None) -> Iterator[Outline]:
    """What `running` names; of its numbers those of all pieces as taught."""
    wanted = Chooser(Span(choice.number, choice.number) for choice in drill.running)
    taught: dict[int, Outline] = {}
    for outline in _as_taught(drill, left_out):
        if sum(map(wanted.takes, outline.numbers)):
            taught[outline.number] = outline
    with within(drill.source, "running"):
        wanted.check()
    for number, chosen in enumerate(drill.chosen_pieces, start=1):
        outline = taught[chosen[0].number.piece]
        tempos = tuple(tempo for choice in chosen for tempo in _tempos(drill, outline, choice))
        repeats = chosen[0].repeats or outline.repeats
        yield replace(outline, tempos=tempos, repeats=repeats, number=number)


def _tempos(drill: Drill, outline: Outline, chosen: Chosen) -> Iterator[TempoMap]:
    """The tempos at which an entry of `running` has a piece."""
    if chosen.tempo is not None:
        yield TempoMap(drill.meter.pulse, ((Fraction(0), chosen.tempo),))
        return
    for number, tempo in zip(outline.numbers, outline.tempos, strict=True):
        if number in chosen.number:
            yield tempo


def _in_order(drill: Drill, left_out: Callable[[LeftOut], None] | None) -> Iterator[Material]:
    materials = variants(drill, left_out)
    if not drill.easiest_first:
        return materials
    from midiforge.insight.difficulty import easiest_first

    fullest = max(drill.stages, key=lambda stage: len(stage.limbs))
    tempos = tempo_maps(drill)

    def full(material: Material) -> Exercise | None:
        if Played.of(material, fullest) is None:
            return None
        outline = Outline(drill, material, fullest, "", tempos, drill.repeats, 1, b"")
        return outline.exercises()[0]

    return iter(easiest_first(materials, full))


# Variants


def variants(drill: Drill, left_out: Callable[[LeftOut], None] | None = None) -> Iterator[Material]:
    """Every variant of a drill's material in teaching order; what comes out the same as an earlier
    one, or cannot be played, is left out."""
    seen: dict[bytes, Variant] = {}
    with within(drill.source):
        for material in turned(drill):
            variant = material.variant
            if material.clash:
                reason: LeftOut | None = LeftOut(variant, material.clash)
            else:
                reason = _seen_before(material, variant, seen, drill.drop_swapped)
            if reason is None:
                yield material
            elif left_out:
                left_out(reason)


def turned(drill: Drill) -> Iterator[Material]:
    """The drill's material turned over, every way."""
    sticks = bool(drill.stickings or drill.every)
    moves = [(move, drill.moves[move.name]) for move in MOVES if sticks or move.of_feet]
    for sticking in drill.material():
        yield from turned_over(begun(drill, sticking), moves)
    if not sticks:
        # That there is no sticking, and still its own accents, is what logs know it by.
        own = Moved("accents", "own", of_feet=True, columns=(("accents", "own"),))
        material = Material(drill.meter, grids(drill)[0], drill.feet, drill.layers, moved=(own,))
        yield from turned_over(material, moves)


def begun(drill: Drill, sticking: Sticking) -> Material:
    """A drill's material with one of its stickings, before any move."""
    phrase, name = sticking.phrase, sticking.phrase.name
    return Material(
        drill.meter,
        sticking.steps,
        drill.feet,
        drill.layers,
        phrase,
        len(phrase),
        name,
        said=sticking.title,
        typed=name.replace(" ", "") == write_sticking(phrase, len(phrase)),
    )


def _seen_before(
    material: Material, variant: Variant, seen: dict[bytes, Variant], drop_swapped: bool
) -> LeftOut | None:
    """That it is the same as an earlier variant; None if it is not."""
    phrase = material.phrase
    lines = [line_text(line) for line in (*material.feet, *material.layers)]
    rest = (material.step, lines, material.entry)
    key = digest(phrase_text(phrase), *rest)
    if key in seen:
        return LeftOut(variant, f"the same as {seen[key]}")
    if drop_swapped and phrase:
        swapped = digest(phrase_text(phrase.swapped()), *rest)
        if swapped in seen:
            why = f"the same with the hands changed over as {seen[swapped]}"
            return LeftOut(variant, why, swapped=True)
    seen[key] = variant
    return None


# Titles


def _feet(material: Material, stage: Stage) -> Iterator[Line]:
    """What the feet play in a stage, without what only came along."""
    if not stage.limbs.isdisjoint(FEET):
        yield from (line for line in material.feet if not line.partner)


def _listed(titles: Iterable[str]) -> str:
    return " and ".join(dict.fromkeys(titles))


def _shown(drill: Drill, material: Material, stage: Stage) -> Variant:
    """As much of a variant as a stage shows."""
    variant = material.variant
    sticks = material.phrase is not None and not stage.limbs.isdisjoint(material.phrase.limbs)

    def is_shown(moved: Moved) -> bool:
        if moved.limbs:
            return not stage.limbs.isdisjoint(moved.limbs)
        return not stage.limbs.isdisjoint(FEET) if moved.of_feet else sticks

    moves = tuple(filter(is_shown, variant.moves))
    if sticks:
        return replace(variant, moves=moves)
    feet = _listed(line.title for line in _feet(material, stage))
    return Variant(said=feet or drill.title, moves=moves)


def title_of(drill: Drill, material: Material, stage: Stage) -> str:
    """What a person calls the piece: "Single Paradiddle from 1e, hands on one surface".

    What a hand repeats is not in it: a title stays short.
    """
    return f"{_shown(drill, material, stage)}, {_ending(material, stage)}"


def _ending(material: Material, stage: Stage) -> str:
    """What the stage is called in a title: "hands on one surface", "over Jazz waltz"."""
    phrase = material.phrase
    if phrase is None or stage.name != FULL:
        return stage.title
    if feet := _listed(line.title for line in _feet(material, stage)):
        return f"over {feet}"
    own = {line.limb for line in (*material.feet, *material.layers) if line.limb}
    by_hands = stage.title == EVERYTHING and (own | phrase.limbs).isdisjoint(FEET)
    return "hands over the kit" if by_hands else stage.title
