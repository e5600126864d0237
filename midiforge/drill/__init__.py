"""A drill: the one idea a lesson is made from, read and checked."""

from typing import TYPE_CHECKING

from midiforge.lazy import lazily

if TYPE_CHECKING:  # what is public; each is imported when it is first asked for
    from midiforge.drill.drill import Drill as Drill
    from midiforge.drill.read import check_drill as check_drill
    from midiforge.drill.read import read_drill as read_drill
else:
    __getattr__, __dir__ = lazily(__name__, __file__)
