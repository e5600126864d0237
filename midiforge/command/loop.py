"""midiforge loop"""

from datetime import timedelta
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge.command.flags import AsJson, Folder, Only, Quiet, read_flag
from midiforge.command.inputs import takes_a_drill
from midiforge.command.progress import listed, progress_bar, say_removed
from midiforge.command.terminal import say, say_json
from midiforge.errors import MidiforgeError
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.folders.loops import LoopReport


@takes_a_drill
def loop(
    drill: "Drill",
    out: Folder = "",
    only: Only = "",
    kinds: Annotated[
        str,
        typer.Option(
            "--kinds",
            metavar="KIND,KIND",
            help="Which loops: everything, without-hands, without-feet, without-drums, "
            "click-and-clave, gaps, ladder; joined by + as in without-drums+gaps. [all]",
        ),
    ] = "",
    minutes: Annotated[
        float,
        typer.Option(
            "--minutes",
            metavar="N",
            show_default=False,
            help="How long each lasts at least; else once round.",
        ),
    ] = 0.0,
    ladder_bars: Annotated[
        int,
        typer.Option(
            "--ladder-bars",
            metavar="N",
            min=0,
            max=256,
            show_default=False,
            help="Bars at each tempo of a ladder at least; else once round.",
        ),
    ] = 0,
    with_count_in: Annotated[
        bool, typer.Option("--with-count-in", help="Begin each with the drill's count-in.")
    ] = False,
    audio: Annotated[
        str,
        typer.Option("--audio", metavar="wav|flac|ogg", help="Sound too, through FluidSynth."),
    ] = "",
    soundfont: Annotated[
        str,
        typer.Option("--soundfont", metavar="FILE", help="The SoundFont to use."),
    ] = "",
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Write loops to play along with, as MIDI files and as sound.

    Of each exercise, with its band: everything, without your hands, your feet or
    both, the click and the clave alone, with gaps of silence, and a ladder of its tempos.
    """
    from midiforge.folders.loops import write_loops
    from midiforge.loops import Shape, read_kinds

    if not out.strip():
        raise MidiforgeError("no folder is named", "--out", hint="such as --out loops")
    audio, soundfont = audio.strip().lower(), soundfont.strip()
    if soundfont and not audio:
        raise MidiforgeError("there is no sound to make", "--soundfont", hint="--audio flac")
    shape = Shape(read_flag("--kinds", read_kinds, kinds), ladder_bars, minutes, with_count_in)
    with progress_bar("Rendering", 1, hidden=quiet or as_json or not audio) as progress:
        report = write_loops(drill, out, shape, only, audio, soundfont, progress)
    if as_json:
        say_json(_facts(report, drill))
    elif not quiet:
        _say(report, drill)
    if report.missing:
        raise MidiforgeError(f"{report.missing}; the MIDI files are written")


# Keys that ask for a band, or for time layers.
_ASKING = ("chords", "style", "percussion", "bass", "comp", "layers")


def _say(report: "LoopReport", drill: "Drill") -> None:
    count = len(report.written)
    length = str(timedelta(seconds=round(report.seconds)))
    sound = " with sound" if any(each.audio for each in report.written) else ""
    say(f"{drill.title}: {many(count, 'loop')}{sound}, {length} in all, in {report.folder}")
    say("What is what: loops.csv")
    if not any(drill.given.get(key) for key in _ASKING):
        say("No band plays along: try --chords 'Dm7 | G7', --style or --percussion")
    listed("Left out", list(report.left_out))
    from midiforge.lesson.remarks import remarks

    listed("Mind", remarks(drill))
    listed("Changed by somebody since, left alone", list(report.kept))
    say_removed(report.removed)


def _facts(report: "LoopReport", drill: "Drill") -> dict[str, Any]:
    return {
        "title": drill.title,
        "folder": str(report.folder),
        "loops": [
            {
                "file": each.file,
                "audio": each.audio or None,
                "kind": each.loop.kind,
                "exercises": [str(number) for number in each.numbers],
                "uses": [
                    {"kind": kind, "exercises": [str(number) for number in numbers]}
                    for kind, numbers in each.uses
                ],
                "seconds": round(float(each.loop.seconds), 6),
                "closes": each.loop.closes,
            }
            for each in report.written
        ],
        "left_out": list(report.left_out),
        "notes": list(drill.notes),
        "missing": report.missing or None,
        "kept": list(report.kept),
        "removed": report.removed,
    }
