"""midiforge build"""

from datetime import timedelta
from typing import TYPE_CHECKING, Any

from midiforge.command.flags import AsJson, Folder, Quiet
from midiforge.command.inputs import takes_a_drill
from midiforge.command.progress import lesson_bar, listed, say_removed
from midiforge.command.terminal import say, say_json
from midiforge.errors import MidiforgeError
from midiforge.printable import many

if TYPE_CHECKING:
    from midiforge.drill.drill import Drill
    from midiforge.session import BuildReport


@takes_a_drill
def build(
    drill: "Drill",
    out: Folder = "",
    quiet: Quiet = False,
    as_json: AsJson = False,
) -> None:
    """Write the exercises of a drill as MIDI files.

    With them go an index, and the whole lesson in one file with its cue list.
    """
    if not out.strip():
        raise MidiforgeError("no folder is named", "--out", hint="such as --out lesson")
    from midiforge.session import Session

    with lesson_bar("Writing", drill, hidden=quiet or as_json) as bar:
        report = Session(drill).build(out, bar)
    if as_json:
        say_json(_facts(report, drill))
    elif not quiet:
        _say(report, drill)


def _say(report: "BuildReport", drill: "Drill") -> None:
    built = report.built
    length = str(timedelta(seconds=round(built.seconds)))
    say(f"{drill.title}: {many(built.files, 'exercise')} in {built.folder}")
    say(f"The whole lesson, {length}: lesson.mid; its sections: cues.csv")
    listed("Left out", [*map(str, report.left_out)])
    listed("Mind", list(report.warnings))
    listed("Changed by somebody since the last build, left alone", list(built.kept))
    say_removed(built.removed)


def _facts(report: "BuildReport", drill: "Drill") -> dict[str, Any]:
    return {
        "title": drill.title,
        "folder": str(report.built.folder),
        "files": report.built.files,
        "seconds": round(float(report.built.seconds), 3),
        "dropped": [
            {"why": str(left_out), "only_hands_swapped": left_out.swapped}
            for left_out in report.left_out
        ],
        "warnings": list(report.warnings),
        "notes": list(drill.notes),
        "kept": list(report.built.kept),
        "removed": report.built.removed,
    }
