"""midiforge import"""

from pathlib import Path
from typing import Annotated

import typer

from midiforge.command.flags import AsJson, new_file, read_flag
from midiforge.command.terminal import say, say_json, say_text
from midiforge.errors import MidiforgeError, nearest, quoted
from midiforge.files.disk import real, write_aside

_WORDS = ("form", "fills", "ostinato", "phrase")


def _kits(incomplete: str) -> list[str]:
    from midiforge.kits.kit import kit_names

    return [name for name in kit_names() if name.startswith(incomplete)]


def import_command(
    file: Annotated[Path, typer.Argument(metavar="GROOVE.mid", help="A MIDI file of drums.")],
    out: str = "",
    kit: Annotated[
        str,
        typer.Option(
            "--kit",
            metavar="KIT",
            help="Which note is which voice. [the kit that knows most]",
            autocompletion=_kits,
        ),
    ] = "",
    tempo: str = "",
    steps: str = "",
    meter: str = "",
    bars: str = "",
    kind: Annotated[
        str,
        typer.Option(
            "--as",
            metavar="form|fills|ostinato|phrase",
            help="What it becomes. [whichever fits]",
            autocompletion=lambda incomplete: [w for w in _WORDS if w.startswith(incomplete)],
        ),
    ] = "",
    kinds: str = "",
    channel: str = "",
    anyway: bool = False,
    as_json: AsJson = False,
) -> None:
    """Turn a drum pattern in a MIDI file into a drill.

    From a DAW, or recorded on a kit: tempo, grid, loop and voices are found, and what did not
    fit is said. Without --out the drill is printed.

    --out FILE.toml: The drill file to write.
    --tempo BPM: The tempo, if it is known.
    --steps N: Grid steps to a beat, 1 to 12. [found]
    --meter 4/4: The meter. [the file's]
    --bars N: Bars of the loop. [found]
    --kinds N: Kinds of bar in a form, at most; with more it is nearer to the take. [8 and more]
    --channel N: The channel with the drums. [the kit's]
    --anyway: A drill also where strokes would have to be moved far.
    """
    from midiforge.drill import values
    from midiforge.groove.cells import MOST_KINDS
    from midiforge.groove.groove import MOST_BARS, import_groove
    from midiforge.groove.words import details, facts, summary
    from midiforge.keys.values import whole
    from midiforge.kits.kit import read_kit
    from midiforge.model.meter import Meter
    from midiforge.moves.grid import MOST_STEPS

    def read(flag: str, text: str, low: int, high: int) -> int:
        return read_flag(flag, lambda text: whole(text, low, high), text) if text.strip() else 0

    if kind and kind not in _WORDS:
        raise MidiforgeError(f"unknown word {quoted(kind)}", "--as", hint=nearest(kind, _WORDS))
    target = _target(out)
    groove = import_groove(
        file,
        kit=read_kit(kit) if kit.strip() else None,
        kit_key=_kit_key(kit, target),
        tempo=read_flag("--tempo", values.tempo, tempo) if tempo.strip() else None,
        steps=read("--steps", steps, 1, MOST_STEPS),
        meter=read_flag("--meter", Meter.parse, meter) if meter.strip() else None,
        bars=read("--bars", bars, 1, MOST_BARS),
        kind=kind,
        kinds=read("--kinds", kinds, 1, MOST_KINDS),
        channel=read("--channel", channel, 1, 16),
        anyway=anyway,
    )
    if target:
        write_aside(target, groove.text)
    if as_json:
        drill = {"out": str(target)} if target else {"drill": groove.text}
        say_json({**facts(groove), **drill})
    elif target is None:
        say_text(groove.text)
        for line in details(groove):  # what did not fit, as remarks below
            say(f"# {line}")
    else:
        article = "" if groove.kind == "fills" else "an " if groove.kind[0] in "aeiou" else "a "
        say(f"{groove.title}, as {article}{groove.kind}, in {target}")
        for line in (*summary(groove), *details(groove)):
            say(line)


def _target(out: str) -> Path | None:
    """The file to write; MidiforgeError if what is there is not ours to replace."""
    if not out.strip():
        return None
    from midiforge.groove.text import MADE

    path = new_file(out)
    if path.suffix != ".toml":
        raise MidiforgeError(f"{quoted(out)} is no drill file", "--out", hint="such as groove.toml")
    MADE.check(path)
    return real(path) if path.is_symlink() else path


def _kit_key(name: str, target: Path | None) -> str:
    """How the drill names a kit: by its name, or by the way from the drill to its file."""
    from midiforge.kits.kit import kit_path, named_from

    if target is None:
        path = kit_path(name, Path())
        return path.as_posix() if path else name.strip()
    return named_from(target.parent, name, Path()).strip()
