"""The screen and the keys of somebody who plays."""

from collections.abc import Iterator
from contextlib import contextmanager

from midiforge.live.playing.keyboard import pressed, single_keys
from midiforge.live.playing.player import Player
from midiforge.live.screen.display import Display
from midiforge.live.screen.watcher import Watcher


@contextmanager
def on_screen(player: Player) -> Iterator[Watcher]:
    """Shows what is played, and gives the player what is asked for by keys."""
    sender = player.sender
    with single_keys(), Display(player.route, sender.muted, sender.levels) as display:

        def idle(spare: int) -> None:
            for command in pressed():
                player.wish(command)
            display.idle(spare, player.paused)

        yield Watcher(
            bar=display.bar,
            moment=display.moment,
            idle=idle,
            say=display.say,
            made=display.prepare,
        )
