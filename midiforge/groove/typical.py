"""What most bars have in common that one of them stands for."""

from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

from midiforge.groove.written import Key, Written
from midiforge.hear.expected import pad_of

_FEWEST = 3  # bars; in fewer nothing is usual
# Shares of the bars: a stroke that fewer have is left out, one that more have is added.
_FEW, _MOST = 0.27, 0.5

_Spot = tuple[str, int]  # pad, and place in the bar


def typical(
    own: Mapping[Key, Written], told: Sequence[Mapping[Key, Written]], reach: float, step: int
) -> dict[Key, Written]:
    """Strokes as they were once played, but for what most of the bars have otherwise that they
    stand for: one stroke more or less, a little later, on another zone of the pad.

    told: these bars. reach: of what is heard as the same place. step: of the bar's grid.
    """
    if len(told) < _FEWEST or all(bar.keys() == own.keys() for bar in told):
        return dict(own)
    bars = [{(pad_of(voice), place) for voice, place in bar} for bar in told]
    times = Counter(spot for bar in bars for spot in bar)
    about = {
        (pad, place): [(pad, p) for of, p in times if of == pad and abs(p - place) <= reach]
        for pad, place in times
    }
    heard = Counter(spot for bar in bars for spot in {near for each in bar for near in about[each]})
    voices: dict[_Spot, Counter[str]] = defaultdict(Counter)
    strokes: dict[Key, Written] = {}
    for bar in (own, *told):
        for key, written in bar.items():
            strokes.setdefault(key, written)
            voices[pad_of(key[0]), key[1]][key[0]] += 1
    before = {(pad_of(voice), place) for voice, place in own}
    found: dict[Key, Written] = {}
    taken: set[_Spot] = set()
    for spot in sorted(times, key=lambda spot: (-times[spot], spot not in before, spot)):
        least = _FEW if before.intersection(about[spot]) else _MOST
        beside = taken.intersection(about[spot])
        if spot[1] % step or heard[spot] < least * len(told) or beside - before:
            continue
        if beside and spot not in before:
            continue
        taken.add(spot)
        both = [key for key in own if (pad_of(key[0]), key[1]) == spot]
        voice = voices[spot].most_common(1)[0][0]
        for key in both if len(both) > 1 else [(voice, spot[1])]:
            found[key] = strokes[key]
    return found
