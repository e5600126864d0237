"""A whole lesson: every variant, every stage, every tempo, in running order."""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from midiforge.drill.drill import Chosen, Drill, Stage
from midiforge.errors import MidiforgeError
from midiforge.lesson.compose import Score, compose
from midiforge.lesson.resolution import parts_of_a_quarter
from midiforge.lesson.sameness import digest, hits_text
from midiforge.lesson.size import check_size
from midiforge.lesson.title import shown, title_of
from midiforge.lesson.variants import Dropped, Material, describe, variants
from midiforge.model.exercise import Exercise, Section, SectionKind
from midiforge.model.number import Chooser, Number, Span
from midiforge.model.piece import Piece
from midiforge.model.tempo import TempoMap, plain


@dataclass(frozen=True, slots=True)
class _Turn:
    """What makes a piece: a stage of some material, written out, and its tempos.

    repeats: how often it goes round. title: what it is called.
    """

    material: Material
    stage: Stage
    score: Score
    tempos: tuple[TempoMap, ...]
    repeats: int
    title: str


def exercises(drill: Drill, dropped: Callable[[Dropped], None] | None = None) -> Iterator[Exercise]:
    """The exercises of a drill, one after the other; see `pieces`."""
    for piece in pieces(drill, dropped):
        yield from piece.exercises


def pieces(drill: Drill, dropped: Callable[[Dropped], None] | None = None) -> Iterator[Piece]:
    """The pieces of a drill, each at its tempos, in the order they are taught, numbered from 1.

    Each variant goes through the stages. A stage that has come before (the feet alone, under a
    moved phrase) is not repeated. Pieces are made one at a time; the exercises of one share their
    hits.

    Where the drill chooses (`running`), only what it names, in its order, numbered anew.

    dropped: told of every variant that comes out the same as an earlier one.
    Raises MidiforgeError, naming the drill's file, for music that cannot be played.
    """
    try:
        check_size(drill)
        yield from _in_running_order(drill, dropped)
    except MidiforgeError as error:
        raise error.within(drill.source) from None


def _in_running_order(drill: Drill, dropped: Callable[[Dropped], None] | None) -> Iterator[Piece]:
    parts = parts_of_a_quarter(drill)
    turns = _chosen(drill, dropped) if drill.running else _as_taught(drill, dropped)
    for number, turn in enumerate(turns, start=1):
        many = len(turn.tempos)
        yield Piece(
            tuple(
                _exercise(drill, turn, tempo, Number(number, place, many), parts)
                for place, tempo in enumerate(turn.tempos)
            )
        )


def _as_taught(drill: Drill, dropped: Callable[[Dropped], None] | None) -> Iterator[_Turn]:
    seen: set[bytes] = set()
    called: Counter[str] = Counter()
    tempos = _tempo_maps(drill)
    for material in _in_order(drill, dropped):
        for stage in drill.stages:
            score = score_of(drill, material, stage)
            if score is None:
                continue
            content = digest(
                stage.name, hits_text(score.hits), hits_text(score.answers), score.sections
            )
            if content in seen:
                continue
            seen.add(content)
            title = title_of(drill, material, stage)
            called[title] += 1
            if called[title] > 1:
                title += f" ({called[title]})"
            yield _Turn(material, stage, score, tempos, drill.repeats, title)


def _chosen(drill: Drill, dropped: Callable[[Dropped], None] | None) -> Iterator[_Turn]:
    """What `running` names; of its numbers those of all exercises as taught."""
    wanted = Chooser(Span(each.number, each.number) for each in drill.running)
    taught: dict[int, _Turn] = {}
    for piece, turn in enumerate(_as_taught(drill, dropped), start=1):
        many = len(turn.tempos)
        if sum(wanted.takes(Number(piece, place, many)) for place in range(many)):
            taught[piece] = turn
    try:
        wanted.check()
    except MidiforgeError as error:
        raise error.within("running") from None
    for some in drill.chosen_pieces:
        piece, repeats = some[0].number.piece, some[0].repeats
        turn = taught[piece]
        tempos = tuple(tempo for each in some for tempo in _tempos(drill, turn, piece, each))
        if repeats and repeats != turn.repeats:
            score = score_of(replace(drill, repeats=repeats), turn.material, turn.stage)
            assert score is not None  # it had strokes the first time
            turn = replace(turn, score=score, repeats=repeats)
        yield replace(turn, tempos=tempos)


def _tempos(drill: Drill, turn: _Turn, piece: int, each: Chosen) -> Iterator[TempoMap]:
    """The tempos at which an entry of `running` has a piece."""
    if each.tempo is not None:
        yield TempoMap(drill.meter.pulse, ((Fraction(0), each.tempo),))
        return
    many = len(turn.tempos)
    for place, tempo in enumerate(turn.tempos):
        if Number(piece, place, many) in each.number:
            yield tempo


def _in_order(drill: Drill, dropped: Callable[[Dropped], None] | None) -> Iterator[Material]:
    def kept() -> Iterator[Material]:
        for found in variants(drill):
            if isinstance(found, Material):
                yield found
            elif dropped:
                dropped(found)

    if not drill.easiest_first:
        return kept()
    from midiforge.insight.difficulty import easiest_first

    fullest = max(drill.stages, key=lambda stage: len(stage.limbs))

    def full(material: Material) -> Exercise | None:
        score = score_of(drill, material, fullest)
        if score is None:
            return None
        turn = _Turn(material, fullest, score, tempos, drill.repeats, "")
        return _exercise(drill, turn, tempos[0], Number(), 1)

    tempos = _tempo_maps(drill)
    return iter(easiest_first(kept(), full))


def score_of(drill: Drill, material: Material, stage: Stage) -> Score | None:
    """What a stage writes of the material; None if it has no stroke of the player's."""
    bars = len(drill.ramp.tempos) * drill.ramp.bars if drill.ramp else 1
    try:
        return compose(drill, material, stage, at_least_bars=bars)
    except MidiforgeError as error:
        raise error.within(describe(material.variant), stage.name) from None


def _tempo_maps(drill: Drill) -> tuple[TempoMap, ...]:
    pulse = drill.meter.pulse
    if drill.ramp is None:
        return tuple(TempoMap(pulse, ((Fraction(0), tempo),)) for tempo in drill.tempos)
    length = drill.ramp.bars * drill.meter.bar
    changes = tuple((i * length, tempo) for i, tempo in enumerate(drill.ramp.tempos))
    return (TempoMap(pulse, changes),)


def _exercise(drill: Drill, turn: _Turn, tempo: TempoMap, number: Number, parts: int) -> Exercise:
    material, stage, score = turn.material, turn.stage, turn.score
    variant, feet = shown(material, stage)
    sections = score.sections
    if len(tempo.changes) > 1:
        # The steps of the tempo say more than that it is the exercise.
        sections = tuple(each for each in sections if each.kind != "exercise")
        sections += tuple(_tempo_sections(tempo, score.bars * drill.meter.bar))
    return Exercise(
        number=number,
        stage=stage.name,
        title=turn.title,
        variant=variant,
        feet=feet,
        meter=drill.meter,
        step=material.step,
        swing=drill.feel,
        tempo=tempo,
        hits=score.hits,
        answers=score.answers,
        sections=tuple(sorted(sections, key=lambda section: section.start)),
        count_in_bars=drill.count_in,
        bars=score.bars,
        returns_after_bars=score.returns_after_bars,
        loop_start=score.loop_start,
        dynamics=score.dynamics,
        touch=drill.touch,
        parts=parts,
        tracks=score.tracks,
        tones=score.tones,
        chords=score.chords,
        text=stage.text,
        repeats=turn.repeats,
        hands="; ".join(
            f"{line.limb.title}: {line.title}"
            for line in drill.layers
            if line.limb in stage.limbs and line.limb and line.limb.is_hand
        ),
    )


def _tempo_sections(tempo: TempoMap, length: Fraction) -> Iterator[Section]:
    ends = [*(time for time, _ in tempo.changes[1:]), length]
    for (start, value), end in zip(tempo.changes, ends, strict=True):
        yield Section(SectionKind.TEMPO, f"{plain(value)} bpm", start, end - start)
