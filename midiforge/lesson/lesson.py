"""A whole lesson: every variant, every stage, every tempo, in running order."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction

from midiforge.drill.drill import Drill, Stage
from midiforge.drill.stages import EVERYTHING, FULL
from midiforge.errors import MidiforgeError
from midiforge.lesson.compose import Score, compose
from midiforge.lesson.resolution import parts_of_a_quarter
from midiforge.lesson.sameness import digest, hits_text
from midiforge.lesson.variants import Dropped, Material, describe, variants
from midiforge.model.exercise import Exercise, Section, SectionKind, Variant
from midiforge.model.hit import FEET
from midiforge.model.tempo import TempoMap, plain

_Turn = tuple[Material, Stage, Score, TempoMap]


def exercises(drill: Drill, dropped: Callable[[Dropped], None] | None = None) -> Iterator[Exercise]:
    """The exercises of a drill, one after the other, in the order they are taught.

    Each variant goes through the stages and each stage through the tempos. A stage that has
    come before (the feet alone, under a moved phrase) is not repeated. Exercises are made one
    at a time; those of a stage that differ only in tempo share their hits.

    Where the drill chooses (`running`), only what it names, in its order, numbered anew.

    dropped: told of every variant that comes out the same as an earlier one.
    Raises MidiforgeError, naming the drill's file, for music that cannot be played.
    """
    try:
        yield from _in_running_order(drill, dropped)
    except MidiforgeError as error:
        raise error.within(drill.source) from None


def _in_running_order(
    drill: Drill, dropped: Callable[[Dropped], None] | None
) -> Iterator[Exercise]:
    parts = parts_of_a_quarter(drill)
    turns = _chosen(drill, dropped) if drill.running else _as_taught(drill, dropped)
    for order, turn in enumerate(turns, start=1):
        yield _exercise(drill, *turn, order, parts)


def _as_taught(drill: Drill, dropped: Callable[[Dropped], None] | None) -> Iterator[_Turn]:
    seen: set[bytes] = set()
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
            for tempo in tempos:
                yield material, stage, score, tempo


def _chosen(drill: Drill, dropped: Callable[[Dropped], None] | None) -> Iterator[_Turn]:
    """What `running` names; of its numbers those of all exercises as taught."""
    wanted = {each.number for each in drill.running}
    found: dict[int, tuple[Material, Stage, TempoMap]] = {}
    count = 0
    for count, (material, stage, _, tempo) in enumerate(_as_taught(drill, dropped), start=1):
        if count in wanted:
            found[count] = (material, stage, tempo)
    before: tuple[Material, Stage, int, Score] | None = None
    for each in drill.running:
        if each.number not in found:
            raise MidiforgeError(
                f"there is no exercise {each.number}", "running", hint=f"1 to {count}"
            )
        material, stage, tempo = found[each.number]
        if each.tempo is not None:
            tempo = TempoMap(drill.meter.pulse, ((Fraction(0), each.tempo),))
        repeats = each.repeats or drill.repeats
        # Neighbours that differ only in tempo share their hits, as they do when taught.
        if before and before[:3] == (material, stage, repeats):
            score = before[3]
        else:
            again = score_of(replace(drill, repeats=repeats), material, stage)
            assert again is not None  # it had strokes the first time
            score = again
        before = (material, stage, repeats, score)
        yield material, stage, score, tempo


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
        return _exercise(drill, material, fullest, score, tempo, 0, 1)

    tempo = _tempo_maps(drill)[0]
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


def _exercise(
    drill: Drill,
    material: Material,
    stage: Stage,
    score: Score,
    tempo: TempoMap,
    order: int,
    parts: int,
) -> Exercise:
    variant, feet = material.variant, ""
    if stage.limbs.isdisjoint(FEET):
        variant = replace(variant, feet_placement=0, feet_placement_name="")
    else:
        feet = " and ".join(line.title for line in material.feet if not line.partner)
    if material.phrase is None or stage.limbs.isdisjoint(material.phrase.limbs):
        variant = Variant(
            "",
            accents="",
            feet_placement=variant.feet_placement,
            feet_placement_name=variant.feet_placement_name,
        )
    sections = score.sections
    if len(tempo.changes) > 1:
        # The steps of the tempo say more than that it is the exercise.
        sections = tuple(each for each in sections if each.kind != "exercise")
        sections += tuple(_tempo_sections(tempo, score.bars * drill.meter.bar))
    return Exercise(
        order=order,
        stage=stage.name,
        title=_title(drill, material, variant, stage, feet),
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


def _title(drill: Drill, material: Material, variant: Variant, stage: Stage, feet: str) -> str:
    """What a person calls the exercise: "Single Paradiddle from 1e, hands on one surface".

    What a hand repeats is not in it: a title stays short.
    """
    if not variant.sticking:
        moved = f" from {variant.feet_placement_name}" if variant.feet_placement else ""
        return f"{feet or drill.title}{moved}, {stage.title}"
    text = describe(replace(variant, sticking=material.title))
    if stage.name != FULL:
        return f"{text}, {stage.title}"
    if feet:
        return f"{text}, over {feet}"
    own = material.phrase.limbs if material.phrase else ()
    by_hands = stage.title == EVERYTHING and not any(limb.is_foot for limb in own)
    return f"{text}, {'hands over the kit' if by_hands else stage.title}"
