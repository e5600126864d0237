"""What to do next with an exercise, and why.

The first rule that applies decides:

    rule      applies                                             says
    pain      the player noted pain with the exercise's last      leave it; after `days`, slowly
              take                                                 and only if the pain is gone
    new       no take long enough to judge                        begin at the drill's slowest
                                                                  tempo; later, where enough is
                                                                  being worked on
    review    last played `days` ago or longer, unless it was     review once, at a tempo that was
              good often enough to go up (once more where that    good, else one step slower; then
              is over `AWAY` times as long ago)                   go on where it was
    done      good often enough at the goal, and the last time    go on to the next placement, or
                                                                  to what is next in the drill
    change    no faster tempo for some takes, which get no        change something about it
              better
    down      the last take is far off; or the last two, or       slower: by as many steps as its
              `takes` if more, are no good and get no better      figures say; or by one step
    worse     the last take is good, but clearly less so than     stay
              the one before
    careful   good enough to go up, but the player noted pain     stay
              with some exercise in the last days
    up        good often enough                                   one step faster, at most to the
                                                                  goal; or hold, where the other
                                                                  placements come first
    stay      else                                                stay

What a good take is, `midiforge.practice.good` says, and where takes have led,
`midiforge.practice.climb`. A step is `up` per cent of the tempo, a whole number of pulses; or the
drill's own next tempo.

The settings are the keys of a drill's table [practice]; what they are unless set, and the figures
below, is common practice of teachers rather than measurement: two takes, steps of 5 per cent, a
week.
"""

from collections.abc import Callable

from midiforge.hear.figures import of_step, steady_to
from midiforge.model.tempo import plain
from midiforge.practice.changes import changes
from midiforge.practice.standing import Action, Advice, Standing
from midiforge.practice.steps import SAME_TEMPO

AWAY = 2  # times `days` after which it has to be good once more to get faster
LESS_CLEAN, LESS_STEADY = 0.02, 1.25  # clearly worse than the take before
_MOST_LACKS = 2  # that are said at a time


def _pain(here: Standing) -> Advice | None:
    if not here.entries or not here.entries[-1].hurts:
        return None
    day = here.entries[-1].day.isoformat()
    if here.days < here.settings.days:
        return here.advice(
            Action.LEAVE,
            "leave it",
            f"pain was noted on {day}; if it stays or comes back, ask a doctor or physiotherapist",
        )
    tempo = min(here.steps.first, here.climb.level) if here.takes else here.steps.first
    why = f"pain was noted on {day}, so only if it is gone"
    return here.advice(Action.REVIEW, f"review slowly{here.at(tempo)}", why, tempo)


def _new(here: Standing) -> Advice | None:
    if here.takes:
        return None
    tempo = here.steps.first
    why = "the takes so far are too short to judge" if here.entries else "not yet tried"
    return here.advice(Action.BEGIN, f"begin{here.at(tempo)}", why, tempo)


def _review(here: Standing) -> Advice | None:
    settings = here.settings
    if here.days < settings.days:
        return None
    enough = settings.takes + (here.days > AWAY * settings.days)
    if not here.learnt and here.row(here.tempo) >= enough:
        return None  # who plays once a week, or once a month, gets faster, too
    tempo = here.climb.known or here.steps.slower(here.climb.now)
    why = f"last played {here.days} days ago"
    return here.advice(Action.REVIEW, f"review{here.at(tempo)}", why, tempo)


def _done(here: Standing) -> Advice | None:
    if not here.learnt:
        return None
    tempo = here.steps.goal
    why = f"good {_times(here.settings.takes)}{here.at(tempo)}"
    return here.advice(Action.DONE, "done", why, tempo)


def _change(here: Standing) -> Advice | None:
    if here.change is None:
        return None
    tempo = here.climb.now
    slower = here.steps.slower(here.steps.slower(tempo))
    choices = [*changes(here.group.exercise, here.lacking[-1], slower)]
    if not choices:
        return None
    change = choices[here.change % len(choices)]
    why = f"{here.climb.since} takes and no faster"
    said = f"{change.said}, then all of it{here.at(tempo)}"
    return here.advice(Action.CHANGE, said, why, tempo, _lack(here), change)


def _down(here: Standing) -> Advice | None:
    if not here.climb.lowered or not here.lacking[-1]:
        return None
    lower = here.climb.level
    if lower >= here.tempo:
        return None
    why = "far from good" if here.far_off else "takes without getting better"
    return here.advice(Action.DOWN, f"down to {plain(lower)}", why, lower, lacking=_lack(here))


def _worse(here: Standing) -> Advice | None:
    if len(here.takes) < 2 or here.lacking[-1]:
        return None
    before, last = here.takes[-2:]
    if abs(last.tempo - before.tempo) > SAME_TEMPO * before.tempo:
        return None
    now, then = last.deviation_percent, before.deviation_percent
    if now is not None and then is not None and now > then * LESS_STEADY:
        figures = f"steady to {of_step(then)}, then to {of_step(now)} of a step"
    elif last.clean < before.clean - LESS_CLEAN:
        figures = f"{before.clean:.0%}, then {last.clean:.0%} clean"
    else:
        return None
    why = f"good, but less than before: {figures}"
    return here.advice(Action.STAY, f"stay{here.at(here.tempo)}", why, here.tempo)


def _careful(here: Standing) -> Advice | None:
    if here.careful is None or here.climb.missed or here.climb.level <= max(here.streak):
        return None
    why = f"pain was noted on {here.careful.isoformat()}, so nothing gets faster for now"
    return here.advice(Action.STAY, f"stay{here.at(here.tempo)}", why, here.tempo)


def _up(here: Standing) -> Advice | None:
    higher, proven = here.climb.level, here.climb.proven
    if here.group.ramps or here.climb.missed or higher <= max(here.streak):
        return None
    base = max(here.streak) if proven is None else max(proven, *here.streak)
    row = here.row(base)
    if row and higher > base:
        last = here.takes[-1]
        figures = ", ".join((f"{last.clean:.0%} clean", *steady_to(last.deviation_percent)))
        why = f"good {_times(row)}{' in a row' if row > 1 else ''} at {plain(base)}, {figures}"
        said = f"up by {plain(higher - base)} to {plain(higher)}"
        return here.advice(Action.UP, said, why, higher)
    why = f"{plain(base)} was good before"
    return here.advice(Action.UP, f"back up to {plain(higher)}", why, higher)


def _stay(here: Standing) -> Advice | None:
    tempo, why = here.climb.now, ""
    if not here.lacking[-1]:
        row = here.climb.row or here.row(here.tempo)  # after pain it begins anew
        why = f"good {_times(row)}, {here.settings.takes} in a row are wanted"
    return here.advice(Action.STAY, f"stay{here.at(tempo)}", why, tempo, lacking=_lack(here))


# The table above, in its order.
RULES: dict[str, Callable[[Standing], Advice | None]] = {
    "pain": _pain,
    "new": _new,
    "review": _review,
    "done": _done,
    "change": _change,
    "down": _down,
    "worse": _worse,
    "careful": _careful,
    "up": _up,
    "stay": _stay,
}


def judged(here: Standing) -> Advice:
    return next(advice for rule in RULES.values() if (advice := rule(here)))


def _times(count: int) -> str:
    return {1: "once", 2: "twice"}.get(count, f"{count} times")


def _lack(here: Standing) -> str:
    """What the last take lacks to be good."""
    return "; ".join(lack.said for lack in here.lacking[-1][:_MOST_LACKS])
