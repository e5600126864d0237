"""What to do next with an exercise, and why.

The first rule that applies decides:

    rule      applies                                             says
    pain      the player noted pain with the exercise's last      leave it; after `days`, slowly
              take                                                 and only if the pain is gone
    new       no take long enough to judge                        begin at the drill's slowest
                                                                  tempo; later, where enough is
                                                                  being worked on
    review    last played `days` ago or longer, unless it was     review: at its tempo if the last
              good often enough to go up (once more where that    take was good, else one step
              is over `AWAY` times as long ago)                   slower
    done      `takes` good takes in a row at the goal             go on to the next placement, or
                                                                  to what is next in the drill
    down      the last take is far off; or the last two, or       one step slower
              `takes` if more, are no good and get no better
    worse     the last take is good, but clearly less so than     stay
              the one before
    careful   good enough to go up, but the player noted pain     stay
              with some exercise in the last days
    up        `takes` good takes in a row                         one step faster, at most to the
                                                                  goal
    stay      else                                                stay

A take is good with at least `clean` of its strokes right (what was struck besides counts against
it) and a standard deviation of at most `steady` per cent of a grid step. A step is `up` per cent
of the tempo, a whole number of pulses; or the drill's own next tempo. A take is long enough when
it goes once round, or has eight bars. A good take that is clearly slower than a good one before
it, or slower than one at the goal, is taken for warming up and left out.

The settings are the keys of a drill's table [practice]; what they are unless set, and the figures
below, is common practice of teachers rather than measurement: 95 per cent clean, 8 per cent
steady, two takes, steps of 5 per cent, a week.
"""

from collections.abc import Callable

from midiforge.drill.drill import Practice
from midiforge.hear.figures import of_step
from midiforge.model.tempo import plain
from midiforge.practice.entry import Entry
from midiforge.practice.good import lacks
from midiforge.practice.standing import Action, Advice, Standing, hurts
from midiforge.practice.steps import SAME_TEMPO

FAR_OFF_CLEAN = 0.10  # as much below `clean` is far off
FAR_OFF_STEADY = 2.0  # ... or as many times `steady`
AWAY = 2  # times `days` after which it has to be good once more to get faster
LESS_CLEAN, LESS_STEADY = 0.02, 1.25  # clearly worse than the take before


def _pain(here: Standing) -> Advice | None:
    if not here.entries or not hurts(here.entries[-1]):
        return None
    day = here.entries[-1].day.isoformat()
    if here.days < here.settings.days:
        return here.advice(
            Action.LEAVE,
            "leave it",
            f"pain was noted on {day}; if it stays or comes back, ask a doctor or physiotherapist",
        )
    words, tempo = here.at(here.steps.first)
    why = f"pain was noted on {day}: only if it is gone"
    return here.advice(Action.REVIEW, f"review slowly{words}", why, tempo)


def _new(here: Standing) -> Advice | None:
    if here.takes:
        return None
    words, tempo = here.at(here.steps.first)
    why = "the takes so far are too short to judge" if here.entries else "not yet tried"
    return here.advice(Action.BEGIN, f"begin{words}", why, tempo)


def _review(here: Standing) -> Advice | None:
    settings = here.settings
    if here.days < settings.days:
        return None
    enough = settings.takes + (here.days > AWAY * settings.days)
    if not here.learnt and here.row >= enough:
        return None  # who plays once a week, or once a month, gets faster, too
    good = here.good(here.takes[-1])
    words, tempo = here.at(here.tempo if good else here.steps.slower(here.tempo))
    return here.advice(Action.REVIEW, f"review{words}", f"last played {here.days} days ago", tempo)


def _done(here: Standing) -> Advice | None:
    if not here.learnt:
        return None
    words, tempo = here.at(here.tempo)
    why = f"good {_times(here.row)} in a row{words}"
    return here.advice(Action.DONE, "done", why, tempo)


def _down(here: Standing) -> Advice | None:
    takes, settings = here.takes, here.settings
    last = takes[-1]
    if here.group.ramps or here.good(last):
        return None
    percent = last.deviation_percent
    far = last.clean < settings.clean - FAR_OFF_CLEAN or (
        percent is not None and percent > FAR_OFF_STEADY * settings.steady
    )
    some = takes[-max(2, settings.takes) :]
    stuck = (
        len(some) >= max(2, settings.takes)
        and not any(here.good(each) or each.tempo < last.tempo * (1 - SAME_TEMPO) for each in some)
        and last.clean <= some[0].clean
        and (percent is None or percent >= (some[0].deviation_percent or 0.0))
    )
    lower = here.steps.slower(here.tempo)
    if not (far or stuck) or lower == here.tempo:
        return None
    many = "" if far else f"{len(some)} takes without getting better: "
    return here.advice(Action.DOWN, f"down to {plain(lower)}", many + _lack(last, settings), lower)


def _worse(here: Standing) -> Advice | None:
    takes = here.takes
    if (
        len(takes) < 2
        or not here.good(takes[-1])
        or takes[-1].tempo > takes[-2].tempo * (1 + SAME_TEMPO)
    ):
        return None
    last, before = takes[-1], takes[-2]
    now, then = last.deviation_percent, before.deviation_percent
    less_clean = last.clean < before.clean - LESS_CLEAN
    less_steady = now is not None and then is not None and now > then * LESS_STEADY
    if not (less_clean or less_steady):
        return None
    words, tempo = here.at(here.tempo)
    said = f"{before.clean:.0%}, then {last.clean:.0%} clean"
    if less_steady:
        said = f"{of_step(then)}, then {of_step(now)} of a step unsteady"
    return here.advice(Action.STAY, f"stay{words}", f"good, but less than before: {said}", tempo)


def _careful(here: Standing) -> Advice | None:
    if here.careful is None or here.row < here.settings.takes:
        return None
    words, tempo = here.at(here.tempo)
    why = f"pain was noted on {here.careful.isoformat()}: nothing gets faster for now"
    return here.advice(Action.STAY, f"stay{words}", why, tempo)


def _up(here: Standing) -> Advice | None:
    higher = here.steps.faster(here.tempo)
    if here.group.ramps or here.row < here.settings.takes or higher == here.tempo:
        return None
    last = here.takes[-1]
    why = f"good {_times(here.row)} in a row at {plain(here.tempo)} ({_figures(last)})"
    by = plain(higher - here.tempo)
    return here.advice(Action.UP, f"up by {by} to {plain(higher)}", why, higher)


def _stay(here: Standing) -> Advice | None:
    words, tempo = here.at(here.tempo)
    last = here.takes[-1]
    if here.good(last):
        why = f"good {_times(here.row)}, {here.settings.takes} in a row are wanted"
    else:
        why = _lack(last, here.settings)
    return here.advice(Action.STAY, f"stay{words}", why, tempo)


# The table above, in its order.
RULES: dict[str, Callable[[Standing], Advice | None]] = {
    "pain": _pain,
    "new": _new,
    "review": _review,
    "done": _done,
    "down": _down,
    "worse": _worse,
    "careful": _careful,
    "up": _up,
    "stay": _stay,
}


def judged(here: Standing) -> Advice:
    found = (rule(here) for rule in RULES.values())
    return next(advice for advice in found if advice)


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _figures(entry: Entry) -> str:
    percent = entry.deviation_percent
    steady = "" if percent is None else f", {of_step(percent)} of a step unsteady"
    return f"{entry.clean:.0%} clean{steady}"


def _lack(entry: Entry, settings: Practice) -> str:
    """What a take lacks to be good."""
    return "; ".join(lack.said for lack in lacks(entry, settings))
