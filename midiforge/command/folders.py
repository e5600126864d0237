"""midiforge build, midiforge loop"""

from datetime import timedelta
from fractions import Fraction
from typing import TYPE_CHECKING, Annotated, Any

import typer

from midiforge.command.flags import AsJson, Folder, Only, Quiet, named, read_flag
from midiforge.command.inputs import takes_a_drill
from midiforge.command.terminal import lesson_bar, listed, progress_bar, say, say_json
from midiforge.errors import MidiforgeError
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.folders.loops import LoopReport
    from midiforge.session import BuildReport

# Keys that ask for a band, or for time layers.
_ASKING = ("chords", "style", "percussion", "bass", "comp", "layers")


@takes_a_drill
def build(drill: "Drill", out: Folder = "", quiet: Quiet = False, as_json: AsJson = False) -> None:
    """Write the exercises of a drill as MIDI files.

    With them go an index, and the whole lesson in one file with its cue list.
    """
    from midiforge.session import Session

    named(out, "folder", "lesson")
    with lesson_bar("Writing", drill, hidden=quiet or as_json) as bar:
        report = Session(drill).build(out, bar)
    if as_json:
        say_json(_build_facts(report, drill))
    elif not quiet:
        _say_build(report, drill)


def _say_build(report: "BuildReport", drill: "Drill") -> None:
    built = report.built
    say(f"{drill.title}: {many(built.files, 'exercise')} in {built.folder}")
    say(f"The whole lesson, {_length(built.seconds)}: lesson.mid; its sections: cues.csv")
    listed("Left out", [*map(str, report.left_out)])
    listed("Mind", report.warnings)
    listed("Changed by somebody since the last build, left alone", built.kept)
    _say_removed(built.removed)


def _build_facts(report: "BuildReport", drill: "Drill") -> dict[str, Any]:
    return {
        "title": drill.title,
        "folder": str(report.built.folder),
        "files": report.built.files,
        "seconds": round(float(report.built.seconds), 3),
        "dropped": [
            {"why": str(left_out), "only_hands_swapped": left_out.swapped}
            for left_out in report.left_out
        ],
        "warnings": report.warnings,
        "notes": drill.notes,
        "kept": report.built.kept,
        "removed": report.built.removed,
    }


@takes_a_drill
def loop(
    drill: "Drill",
    out: Folder = "",
    only: Only = "",
    kinds: str = "",
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
    with_count_in: bool = False,
    audio: str = "",
    soundfont: str = "",
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Write loops to play along with, as MIDI files and as sound.

    Of each exercise, with its band: everything, without your hands, your feet or
    both, the click and the clave alone, with gaps of silence, and a ladder of its tempos.

    --kinds KIND,KIND: Which loops: everything, without-hands, without-feet, without-drums,
        click-and-clave, gaps, ladder; joined by + as in without-drums+gaps. [all]
    --with-count-in: Begin each with the drill's count-in.
    --audio wav|flac|ogg: Sound too, through FluidSynth.
    --soundfont FILE: The SoundFont to use.
    """
    from midiforge.loops import Shape, read_kinds
    from midiforge.session import Session

    named(out, "folder", "loops")
    audio, soundfont = audio.strip().lower(), soundfont.strip()
    if soundfont and not audio:
        raise MidiforgeError("there is no sound to make", "--soundfont", hint="--audio flac")
    shape = Shape(read_flag("--kinds", read_kinds, kinds), ladder_bars, minutes, with_count_in)
    with progress_bar("Rendering", 1, hidden=quiet or as_json or not audio) as bar:
        report = Session(drill).loops(out, shape, only, audio, soundfont, bar)
    if as_json:
        say_json(_loop_facts(report, drill))
    elif not quiet:
        _say_loops(report, drill)
    if report.missing:
        raise MidiforgeError(f"{report.missing}; the MIDI files are written")


def _say_loops(report: "LoopReport", drill: "Drill") -> None:
    from midiforge.lesson.remarks import remarks

    count = many(len(report.written), "loop")
    sound = " with sound" if any(files.audio for files in report.written) else ""
    length = _length(report.seconds)
    say(f"{drill.title}: {count}{sound}, {length} in all, in {report.folder}")
    say("What is what: loops.csv")
    if not any(drill.given.get(key) for key in _ASKING):
        say("No band plays along: try --chords 'Dm7 | G7', --style or --percussion")
    listed("Left out", report.left_out)
    listed("Mind", remarks(drill))
    listed("Changed by somebody since, left alone", report.kept)
    _say_removed(report.removed)


def _loop_facts(report: "LoopReport", drill: "Drill") -> dict[str, Any]:
    return {
        "title": drill.title,
        "folder": str(report.folder),
        "loops": [
            {
                "file": files.file,
                "audio": files.audio or None,
                "kind": files.loop.kind,
                "exercises": [*map(str, files.numbers)],
                "uses": [
                    {"kind": kind, "exercises": [*map(str, numbers)]}
                    for kind, numbers in files.uses
                ],
                "seconds": round(float(files.loop.seconds), 6),
                "closes": files.loop.closes,
            }
            for files in report.written
        ],
        "left_out": report.left_out,
        "notes": drill.notes,
        "missing": report.missing or None,
        "kept": report.kept,
        "removed": report.removed,
    }


def _length(seconds: Fraction) -> str:
    return str(timedelta(seconds=round(seconds)))


def _say_removed(count: int) -> None:
    """Says how many files of an earlier time are gone from the folder; nothing for none."""
    if count:
        say(f"Removed from the folder: {many(count, 'file')} that midiforge wrote there before")
