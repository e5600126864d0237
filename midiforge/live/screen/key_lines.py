"""Which key does what, as it stands below what is played."""

from midiforge.live.playing.bars import PlayableExercise
from midiforge.live.playing.keyboard import key_of, told
from midiforge.live.playing.layers import BAND, LAYERS
from midiforge.live.playing.route import Command
from midiforge.live.screen.terminal import flowed

_MOVES = (
    Command.PAUSE,
    Command.NEXT,
    Command.PREVIOUS,
    Command.AGAIN,
    Command.SLOWER,
    Command.FASTER,
    Command.QUIT,
)
_LEVELS = (Command.LAYER, Command.SOFTER, Command.LOUDER)


def _told(playable: PlayableExercise) -> list[tuple[Command, ...]]:
    """The commands that are told, group by group; the band's where the exercise has them."""
    layers = [each for each in LAYERS if each not in BAND or each in playable.layers]
    return [_MOVES, tuple(map(Command, layers)), _LEVELS]


def key_lines(playable: PlayableExercise, room: int) -> list[str]:
    """Which key does what, in as few lines as there is room for."""
    moves, layers, levels = (list(map(told, group)) for group in _told(playable))
    both = flowed([*layers, *levels], room)
    if len(both) > 1:
        both = [*flowed(layers, room), *flowed(levels, room)]
    return [*flowed(moves, room), *both]


def short_key_lines(playable: PlayableExercise, room: int) -> list[str]:
    """The keys alone."""
    return flowed([key_of(each) for group in _told(playable) for each in group], room, " ")
