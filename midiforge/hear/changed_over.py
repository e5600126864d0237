"""An exercise as somebody plays it who begins with the other hand."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace

from midiforge.hear.expected import pad_of
from midiforge.model.exercise import Exercise
from midiforge.model.hit import HANDS, Hit, Limb, Strength


def changed_over(exercise: Exercise) -> Exercise | None:
    """The exercise with its hands changed over, each on its own drums; None where those are the
    same, so that nobody hears it, or where one hand has no drum for what the other one plays."""
    voices: dict[Limb, dict[Strength, Counter[str]]] = {hand: {} for hand in HANDS}
    for hit in exercise.hits:
        if hit.limb in HANDS:
            voices[hit.limb].setdefault(hit.strength, Counter())[hit.voice] += 1
    right, left = (_pads(voices[hand]) for hand in HANDS)
    alike = len(right) == len(left) == 1 or voices[HANDS[0]].keys() == voices[HANDS[1]].keys()
    if not (right and left and alike) or right & left:
        return None
    hits = tuple(_changed_over(hit, voices) for hit in exercise.hits)
    return replace(exercise, piece=replace(exercise.piece, hits=hits))


def _pads(voices: Mapping[Strength, Counter[str]]) -> set[str]:
    return {pad_of(voice) for some in voices.values() for voice in some}


def _changed_over(hit: Hit, voices: Mapping[Limb, Mapping[Strength, Counter[str]]]) -> Hit:
    if hit.limb not in HANDS:
        return hit
    own = voices[hit.limb.opposite]
    some = own.get(hit.strength) or next(iter(own.values()))
    return replace(hit, limb=hit.limb.opposite, voice=some.most_common(1)[0][0])
