"""Days that somebody names."""

from datetime import date

from midiforge.errors import WrongArgument, quoted

# Before the first, or behind the last, not every system can tell the day from the hour.
_FIRST, _LAST = date(1983, 1, 1), date(2999, 12, 31)  # MIDI's first year


def day_of(text: str) -> date | None:
    """The day that a text names; None for none. Raises WrongArgument, of `date`, for what is no
    day, or one that no log has."""
    if not text.strip():
        return None
    try:
        day = date.fromisoformat(text.strip())
    except ValueError:
        hint = "such as 2026-03-31"
        raise WrongArgument(f"{quoted(text)} is not a day", "date", hint=hint) from None
    if not _FIRST <= day <= _LAST:
        raise WrongArgument(f"{day} is too far off", "date", hint=f"from {_FIRST} to {_LAST}")
    return day


def day_played(text: str) -> date | None:
    """The same of a day that is not to come."""
    day = day_of(text)
    if day and day > date.today():
        raise WrongArgument(f"{day} is still to come", "date", hint="the day it was played")
    return day
