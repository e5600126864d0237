"""What is said of a kit that was learnt: what is in its file, and what is not."""

from shlex import quote

from midiforge.kits.learn.hihat_pedal import openness, runs_backwards
from midiforge.kits.learn.learn import Learning


def learnt_words(learning: Learning, starts_from: str, out: str) -> list[str]:
    """Lines about the file `out`; starts_from: the kit that says all the rest."""
    found, missing = learning.found, learning.missing
    lines = [f"{out}: {_count(learning)}: {', '.join(found) or 'none'}"]
    if learning.bound:
        lines.append(f"controls: {', '.join(learning.bound)}")
    if missing:
        lines.append(f"not learnt, so as in {starts_from}: {', '.join(missing)}")
    if missing and not learning.all_asked:
        again = f"--starts-from {quote(out)} --voices {','.join(missing)}"
        lines.append(f"it is part of a kit; for the rest: midiforge kit learn {again} --out FILE")
    if pedal := openness(found):
        lines.append(
            f"hi-hat: controller {pedal['controller']}, open below {pedal['open_below']}, "
            f"closed above {pedal['closed_above']}"
        )
    elif runs_backwards(found):
        lines.append("hi-hat: its controller rises as it opens, which a kit file cannot say")
    return lines


def ending(learning: Learning) -> str:
    """What is asked before it ends with voices left."""
    return f"q again ends here, with {_count(learning)}; n and p go on"


def _count(learning: Learning) -> str:
    found = len(learning.found)
    return f"{found} of {found + len(learning.missing)} voices"
