"""midiforge practise"""

import math
import time
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from midiforge.command.flags import Log, Player, read_flag
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import folded, on_screen, say, say_text, tell
from midiforge.errors import MidiforgeError

if TYPE_CHECKING:
    from midiforge.at_the_kit.practise import Practice
    from midiforge.drill.drill import Drill
    from midiforge.session import Session


@takes_a_drill
def practise(
    drills: "list[Drill]",
    minutes: int = 30,
    port: str = "",
    virtual: bool = False,
    input_: str = "",
    band_port: str = "",
    mute: str = "hands, feet",
    levels: str = "",
    takes: str = "",
    delay: float | None = None,
    measure: bool = False,
    unheard: bool = False,
    spoken: bool = False,
    plain: bool = False,
    log: Log = "",
    player: Player = "",
) -> None:
    """Practise at the kit: it plays, hears you, decides and goes on.

    It plans the minutes from your log, sounds what is new once, listens while you play to the
    click, and goes slower, faster, to two limbs alone or on to the next, as `midiforge next` would
    say. Each take is written, reviewed and logged. Without a kit on MIDI it goes by the clock.

    --minutes N: How long, 5 to 180.
    --port NAME: The output: part of its name, or number. [the only one]
    --virtual: Open a virtual output for others to connect to.
    --input NAME: The input that the kit is on. [the only one; by the clock if there is none]
    --band-port NAME: Another output for the band; its percussion on channel 10 there.
    --mute LAYERS: Silent while you play; what is new is sounded once all the same.
    --levels LAYER=N,...: How loud layers are, in per cent: 20 to 150.
    --takes DIR: The folder for takes and the day's page. [your data folder]
    --delay MS: From a stroke to its arrival. [as it was measured with this kit]
    --measure: Measure the delay again, with eight strokes.
    --unheard: Do not sound what is new before you play it.
    --spoken: Say what comes, by a speech program of this computer.
    --plain: Lines instead of a screen.
    """
    from midiforge.at_the_kit import delay as delays
    from midiforge.at_the_kit.practise import Practice
    from midiforge.at_the_kit.screen import in_lines, on_kit_screen
    from midiforge.at_the_kit.speech import speaker
    from midiforge.at_the_kit.words import NO_KIT
    from midiforge.live.playing.layers import read_layers, read_levels
    from midiforge.live.playing.play import PlayOptions
    from midiforge.live.ports.ports import input_named
    from midiforge.practice.teacher import to_a_click
    from midiforge.session import Session

    if delay is not None and not (math.isfinite(delay) and abs(delay) <= delays.MOST_MS):
        what, hint = f"{delay:g} is no delay in ms", f"0 to {delays.MOST_MS:g}"
        raise MidiforgeError(what, "--delay", hint=hint)
    source = input_named(input_)
    kit = drills[0].kit.name
    known = delay
    if known is None and source and not measure:
        known = delays.kept(kit, source)
    _catch_up([Session(to_a_click(drill), log, player) for drill in drills], takes, known)
    speak = None
    if spoken and (speak := speaker()) is None:
        tell("this computer has no speech program: nothing is spoken (espeak-ng is one)")
    options = PlayOptions(
        port=port,
        virtual=virtual,
        band=band_port,
        kit_input=source,
        muted=read_flag("--mute", read_layers, mute),
        levels=read_flag("--levels", read_levels, levels),
    )
    practice = Practice(
        Session(drills[0], log, player),
        minutes,
        bool(source),
        _folder(takes) if source else None,
        known,
        measures=known is None,
        shows=not unheard,
        speak=speak,
        apart=True,
        others=drills[1:],
    )
    if not source:
        say(NO_KIT)
    screen = on_kit_screen if on_screen() and not plain else in_lines(_say)
    failed = ""
    try:
        figures = practice.play(options, screen)
    except MidiforgeError as error:
        failed = error.what  # which is said where all errors are
        raise
    finally:
        with suppress(OSError):  # nobody may be there to read it
            _end(practice, kit, source, failed)
        practice.close()
    say_text(folded(f"Timing: {figures}"))


def _catch_up(sessions: "list[Session]", takes: str, delay: float | None) -> None:
    """Logs what is left of sessions that were cut short."""
    from midiforge.at_the_kit.catching_up import caught_up
    from midiforge.files.disk import data_folder

    folders = [Path(takes)] if takes.strip() else []
    with suppress(OSError):
        folders += (data_folder() / "practised").glob("*")
    for path in caught_up(sessions, dict.fromkeys(folders), delay):
        tell(f"a session was cut short; its last take is in the log now: {path}")


def _folder(given: str) -> Path:
    """Where takes go: as given, which may be there, or a new one of today."""
    from midiforge.files.disk import data_folder

    named = time.strftime("%Y-%m-%d-%H%M%S")
    folder = Path(given) if given.strip() else data_folder() / "practised" / named
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        what = f"cannot be made: {error.strerror}"
        raise MidiforgeError(what, *(["--takes"] if given else []), str(folder)) from None
    return folder


def _end(practice: "Practice", kit: str, source: str, failed: str) -> None:
    """What is left of a session. kit, source: of which a delay that was measured is. failed: what
    ended it, "" for nothing."""
    from midiforge.at_the_kit import delay
    from midiforge.practice.words import CAUTION

    if not (practice.scene.hears and practice.has_begun):
        return
    try:
        ended = practice.ended()
    except MidiforgeError as error:
        if error.what not in (failed, practice.listening.trouble):
            tell(error.what)
        return
    for indent, line in ended.lines:
        say_text(folded(" " * indent + line))
    for trouble in ended.troubles:
        tell(trouble)
    if ended.page:
        say(f"The day's page, beside its takes: {ended.page}")
    measured = practice.scene.delay_ms
    if said := delay.kept_anew(kit, source, measured, practice.known_delay):
        say_text(folded(said))
    say_text(folded(CAUTION))


def _say(text: str) -> None:
    say(text, flush=True)
