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


def key_lines(playable: PlayableExercise, room: int) -> tuple[list[str], list[str]]:
    """Which key does what, in as few lines as there is room for; and the keys alone.

    The band's are told where the exercise has it.
    """
    layers = [Command(each) for each in LAYERS if each not in BAND or each in playable.layers]
    groups = (_MOVES, layers, _LEVELS)
    moves, switches, levels = ([*map(told, group)] for group in groups)
    below = flowed([*switches, *levels], room)
    if len(below) > 1:
        below = [*flowed(switches, room), *flowed(levels, room)]
    alone = [key_of(each) for group in groups for each in group]
    return [*flowed(moves, room), *below], flowed(alone, room, " ")
