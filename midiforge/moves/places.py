"""Where something begins: by count or grid step, or every step of a beat, phrase or bar."""

import re
from fractions import Fraction

from midiforge.errors import MidiforgeError, quoted
from midiforge.frozen import frozen
from midiforge.keys.values import whole
from midiforge.model.counts import count_index, steps_in_bar
from midiforge.model.meter import Meter
from midiforge.moves.move import Material

MOST_PLACEMENTS = 1024


@frozen
class Places:
    """Placements, before grid and phrase are known.

    word: "beat", "phrase" or "bar" for each of its steps; "" for those in `wanted`.
    wanted: grid steps, as numbers, or counts such as "2&" and "2".
    """

    word: str = ""
    wanted: tuple[int | str, ...] = (0,)


def places(items: list[object]) -> Places:
    """ "beat", "phrase", "bar"; or counts, "1, 1e, 2&", and grid steps later, "+0, +3".

    0 is where it is. Beside a 0, which is no count, other bare numbers are grid steps too, as
    drills of earlier days have them: "0, 3, 2&".
    """
    if len(items) == 1 and items[0] in ("beat", "phrase", "bar"):
        return Places(word=str(items[0]), wanted=())
    texts = [str(item).strip() for item in items]
    wanted: list[int | str] = []
    for text in texts:
        steps = re.fullmatch(r"\+([0-9]{1,6})", text)
        if steps or ("0" in texts and re.fullmatch(r"[0-9]{1,6}", text)):
            wanted.append(whole(int(text.lstrip("+")), 0, MOST_PLACEMENTS, "grid steps"))
        elif re.fullmatch(r"[0-9]{1,6}|[0-9]{0,3}([e&a+]|\.[0-9]{1,3})", text):
            wanted.append(text)
        else:
            raise MidiforgeError(
                f"{quoted(text)} is not a placement",
                hint="beat, phrase, bar, counts such as 1, 1e, 2&, 4.1, or grid steps later, +3",
            )
    return Places(wanted=tuple(wanted))


def resolved(wanted: Places, material: Material, key: str) -> tuple[int, ...]:
    """The grid steps that placements mean for a material; errors name the key."""
    try:
        return _steps(wanted, material.meter, material.step, material.size)
    except MidiforgeError as error:
        raise error.within(key) from None


def _steps(spec: Places, meter: Meter, step: Fraction, phrase: int) -> tuple[int, ...]:
    if spec.word:
        sizes = {
            "beat": int(meter.beat / step),
            "phrase": phrase,
            "bar": steps_in_bar(meter, step),
        }
        return tuple(range(sizes[spec.word]))
    return tuple(
        each if isinstance(each, int) else _place(each, meter, step) for each in spec.wanted
    )


def _place(count: str, meter: Meter, step: Fraction) -> int:
    if count.isdigit() and not 1 <= int(count) <= len(meter.groups):
        beats = len(meter.groups)
        raise MidiforgeError(
            f"{quoted(count)}: a bar of {meter} has no beat {count}",
            hint=f"1 to {beats}; {count} grid steps later is '+{count}'",
        )
    return count_index(meter, step, count)
