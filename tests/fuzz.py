"""Fuzzing what comes from outside: MIDI files, drills, kit files and the practice log.

    python tests/fuzz.py --minutes 60                 # all of them in turn
    python tests/fuzz.py --minutes 5 drill kit        # only these
    python tests/fuzz.py --one midi fuzz-cases/midi-1 # one case again, with its traceback

Inputs are bred from small good ones, guided by which code they reach (Atheris, which is libFuzzer
for Python: `pip install atheris`). A case is kept, and the run fails, if midiforge ends in anything
but its own errors: an internal fault, more than 10 s, more than 2 GB, a crash of the process.
Everything goes through the command, as a person would, and the drill's exercises through the
outputs that sound and read.
"""

import argparse
import contextlib
import hashlib
import importlib
import io
import json
import os
import pkgutil
import random
import signal
import sqlite3
import struct
import subprocess
import sys
import tempfile
import time
import traceback
from collections.abc import Callable, Iterator
from itertools import islice
from pathlib import Path
from types import FrameType

SECONDS_A_CASE = 10
MEGABYTES = 2048
_TO_END = 120  # seconds
_EXERCISES = 12
_LONGEST = {"midi": 6000, "drill": 1500, "kit": 800, "log": 40_000}
_DRILL = """
title = "Wharf"
sticking = ">RLR >RLL"
placements = "beat"
feet = "four-on-the-floor"
tempos = [70, 90]
"""
_REPOSITORY = Path(__file__).resolve().parent.parent


class Slow(Exception):
    """A case took more than its seconds."""


@contextlib.contextmanager
def _limited() -> Iterator[None]:
    def end(_: int, __: FrameType | None) -> None:
        raise Slow(f"more than {SECONDS_A_CASE} s")

    signal.signal(signal.SIGALRM, end)
    signal.alarm(SECONDS_A_CASE)
    try:
        yield
    finally:
        signal.alarm(0)


def _command(*arguments: str) -> str:
    """What a command prints; a fault of midiforge itself is raised as what it was."""
    from midiforge.command.run import run

    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = run(list(arguments))
    said = err.getvalue()
    assert code in (0, 2), f"exit code {code}: {said}"
    assert "Traceback" not in said, said
    assert "\x1b" not in out.getvalue() + said, "an escape sequence is printed raw"
    return out.getvalue()


def midi(content: bytes, folder: Path) -> None:
    """A take to review against a drill, and to bring in as a groove."""
    take, drill = folder / "take.mid", folder / "wharf.toml"
    take.write_bytes(content)
    if not drill.exists():
        drill.write_text(_DRILL)
    _command("review", str(take), str(drill), "--no-log")
    _command("import", str(take))


def drill(content: bytes, folder: Path) -> None:
    """A drill: as a file, or a key and its text a line; then what it makes."""
    import midiforge
    from midiforge.errors import MidiforgeError

    text = content[1:].decode("utf-8", "replace")
    if content[:1] != b"#":  # JSON's strings are TOML's too
        lines = [line.partition("=") for line in text.split("\n") if "=" in line]
        text = "\n".join(f"{key.strip()} = {json.dumps(value)}" for key, _, value in lines)
    path = folder / "drill.toml"
    path.write_text(text, encoding="utf-8")
    try:
        made = midiforge.read_drill(path)
        lesson = list(islice(midiforge.exercises(made), _EXERCISES))
        for exercise in lesson:
            midiforge.exercise_bytes(exercise, made.kit)
    except MidiforgeError:
        return
    if (
        lesson
        and sum(len(exercise.hits) for exercise in lesson) < 3000
        and len(lesson) < _EXERCISES
    ):
        _command("show", str(path))
        with contextlib.suppress(MidiforgeError):  # not everything can be written in notes
            midiforge.write_sheet(made, folder / "lesson.musicxml")


def kit(content: bytes, folder: Path) -> None:
    """A kit file: read, and an exercise and its take on it."""
    import midiforge

    path = folder / "kit.toml"
    path.write_bytes(content)
    try:
        read = midiforge.read_kit(path)
    except midiforge.MidiforgeError:
        return
    made = midiforge.check_drill({"sticking": ">RLR(R) lRLzL", "feet": "samba", "kit": str(path)})
    for exercise in midiforge.exercises(made):
        (folder / "take.mid").write_bytes(midiforge.exercise_bytes(exercise, read))
        with contextlib.suppress(midiforge.MidiforgeError):
            midiforge.review(midiforge.read_take(folder / "take.mid"), made)


def log(content: bytes, folder: Path) -> None:
    """A damaged practice log: what it holds, what is next, and it is not written to."""
    path, made = folder / "log.db", folder / "wharf.toml"
    for each in folder.glob("log.db*"):
        each.unlink()
    path.write_bytes(content)
    if not made.exists():
        made.write_text(_DRILL)
    _command("log", "--log", str(path))
    _command("log", "--log", str(path), "--csv", "-")
    _command("next", str(made), "--log", str(path))


TARGETS: dict[str, Callable[[bytes, Path], None]] = {
    "midi": midi,
    "drill": drill,
    "kit": kit,
    "log": log,
}


def good(target: str, folder: Path) -> None:
    """Writes small good inputs into the folder."""
    import midiforge

    def keep(content: bytes) -> None:
        (folder / hashlib.sha1(content).hexdigest()).write_bytes(content)

    (folder / ".drill.toml").write_text(_DRILL)
    made = midiforge.read_drill(folder / ".drill.toml")
    lesson = list(midiforge.exercises(made))
    if target == "midi":
        for exercise in lesson[::5]:
            keep(midiforge.exercise_bytes(exercise, made.kit))
            take = midiforge.exercise_bytes(exercise, made.kit)
            keep(take[: len(take) // 2])
        for path in sorted((_REPOSITORY / "../shared/recordings").glob("*/*/*.mid"))[:200]:
            if path.stat().st_size < _LONGEST["midi"]:
                keep(path.read_bytes())
    if target == "drill":
        keep(b"#" + _DRILL.encode())
        for path in (_REPOSITORY / "examples").glob("*.toml"):
            keep(b"#" + path.read_bytes())
        flat = "\nsticking=>RLR lR(L) Rz-\nfeet=samba\nplacements=beat\ntempos=60 to 90 by 10\n"
        keep(flat.encode())
        for line in (
            "chords=Dm7 | G7 | Cmaj7 | %\nclave=3-2",
            "meter=2+2+3/8\nsteps=2, 3\nswing=2:1",
            "ramp=60 to 90 by 5 every 2 bars\ngap=2 on 2 off\ncount_in=2",
            "form=2 call 2 response\ndynamics=crescendo over 4 bars\nstages=hands, full",
            "accents=1 2& 4\naccent_placements=phrase\nlead=both\ndirection=both",
            "running=3 at 70 repeats 4, 1-2\norder=easiest\nhumanise.timing=5",
            "percussion=congas at 70%, x.x. as cowbell\nlayers=bembe on RH\npartner=none",
            "voicing=RH=ride, LH accent=tom-high/tom-mid\nsurface=snare-rim\nfeet=1a 2& on LF",
        ):
            keep((flat + line).encode())
    if target == "kit":
        for path in (*(_REPOSITORY / "kits").glob("*.toml"), *_REPOSITORY.glob("examples/*room*")):
            keep(path.read_bytes()[: _LONGEST["kit"]])
        keep(b'title = "Shed"\nstarts_from = "general-midi-1"\nprogram = 26\n[notes]\nsnare = 40\n')
        keep(b'[controls]\nnext = "note 57"\npause = "controller 67"\n[velocities]\naccent = 120\n')
    if target == "log":
        path = folder / ".log.db"
        for number, exercise in enumerate(lesson[:8]):
            take = folder / f".take-{number}.mid"
            take.write_bytes(midiforge.exercise_bytes(exercise, made.kit))
            _command("review", str(take), str(folder / ".drill.toml"), "--log", str(path))
        keep(path.read_bytes())
    for each in folder.glob(".*"):
        each.unlink()


def words() -> list[str]:
    """What libFuzzer may put into an input as a whole."""
    import midiforge
    from midiforge.drill.keys import KEYS

    some = ["R", "L", "B", "K", "H", "lR", "Rz", ">", "(L)", "1e", "2&", "x..x", "on LF", "²", "٣"]
    some += ["9" * 40, "1e400", "nan", "-1", "0", "1/3", "6/8", "2+2+3/8", "\n", "'''", '"', "[]"]
    for key in KEYS:
        some += [key.name, *key.choices, *key.example.split("|")]
    some += [*midiforge.ostinatos(), *midiforge.styles(), *midiforge.rudiments()]
    return sorted({word for word in some if word.isprintable() and 0 < len(word) < 50})


def changed_row(content: bytes, chance: random.Random) -> bytes:
    """A log with one cell, or its schema, changed by SQL: what flipped bytes seldom reach."""
    with tempfile.TemporaryDirectory() as name:
        path = Path(name, "log.db")
        path.write_bytes(content)
        try:
            with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as log:
                tables = [row[0] for row in log.execute("select name from sqlite_schema")]
                table = chance.choice(tables)
                columns = [row[1] for row in log.execute(f"pragma table_info('{table}')")]
                values = (None, -1, 2**62, 1e308, float("inf"), "", "x" * 500, b"\xff\x00", "²")
                log.execute("pragma ignore_check_constraints = on")
                if chance.random() < 0.2:
                    log.execute("pragma writable_schema = on")
                    log.execute("update sqlite_schema set sql = substr(sql, 1, ?)", (30,))
                else:
                    column = chance.choice(columns)
                    row = f"rowid % {chance.randint(1, 4)} = 0"
                    value = chance.choice(values)
                    log.execute(f'update "{table}" set "{column}" = ? where {row}', (value,))
        except (sqlite3.Error, IndexError, UnicodeDecodeError):
            return content
        return path.read_bytes()


def breed(target: str, corpus: Path, cases: Path, seconds: int, seed: int) -> None:
    """Breeds inputs of one target in this process until the time is over."""
    import resource

    import atheris

    with atheris.instrument_imports(include=["midiforge"]):
        import midiforge

        for module in pkgutil.walk_packages(midiforge.__path__, "midiforge."):
            if "__main__" not in module.name and "rtmidi" not in module.name:
                importlib.import_module(module.name)
    os.environ["MIDIFORGE_TRACE"] = "1"
    resource.setrlimit(resource.RLIMIT_AS, (8 * MEGABYTES << 20, resource.RLIM_INFINITY))
    tried = 0
    seen: set[str] = set()
    folder = Path(tempfile.mkdtemp(prefix="midiforge-fuzz-"))
    tally = corpus.with_suffix(".tried")
    before = int(tally.read_text()) if tally.exists() else 0

    def one(content: bytes) -> None:
        nonlocal tried
        tried += 1
        if tried % 50 == 0:
            tally.write_text(str(before + tried))
        try:
            with _limited():
                TARGETS[target](content, folder)
        except Exception as error:
            frames = traceback.extract_tb(error.__traceback__)
            where = next((f for f in reversed(frames) if "midiforge/" in f.filename), frames[-1])
            name = f"{type(error).__name__} {Path(where.filename).name}:{where.lineno}"
            if name not in seen:
                seen.add(name)
                case = cases / f"{target}-{hashlib.sha1(name.encode()).hexdigest()[:8]}"
                if not case.exists():
                    case.write_bytes(content)
                    print(f"{case}: {name}: {str(error)[:200]}", file=sys.stderr, flush=True)

    def bred(content: bytes, longest: int, number: int) -> bytes:
        chance = random.Random(number)
        if target == "log" and chance.random() < 0.5:
            return changed_row(content, chance)
        if target == "midi" and chance.random() < 0.2 and len(content) > 30:
            place = chance.randrange(14, len(content))
            grown = struct.pack(">I", chance.choice((0, 0x7FFFFF7F, 0xFFFFFFFF, 0x8080807F)))
            return content[:place] + grown + content[place + chance.randint(0, 4) :]
        return bytes(atheris.Mutate(content, longest))

    arguments = [
        sys.argv[0],
        f"-max_total_time={seconds}",
        f"-max_len={_LONGEST[target]}",
        f"-rss_limit_mb={MEGABYTES}",
        f"-timeout={6 * SECONDS_A_CASE}",
        f"-seed={seed}",
        f"-artifact_prefix={cases}/{target}-crash-",
        "-verbosity=0",
        "-print_final_stats=0",
        "-reload=0",
    ]
    if target in ("drill", "kit"):
        listed = corpus.with_suffix(".words")
        quoted = ("".join(f"\\x{byte:02x}" for byte in word.encode()) for word in words())
        listed.write_text("".join(f'"{word}"\n' for word in quoted))
        atheris.Setup([*arguments, f"-dict={listed}", str(corpus)], one)
    else:
        atheris.Setup([*arguments, str(corpus)], one, custom_mutator=bred)
    atheris.Fuzz()


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("targets", nargs="*", default=list(TARGETS))
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--cases", type=Path, default=Path("fuzz-cases"))
    parser.add_argument("--one", nargs=2, metavar=("TARGET", "FILE"))
    parser.add_argument("--breed", nargs=2, help=argparse.SUPPRESS)  # target, seconds
    parser.add_argument("--corpus", type=Path, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.one:
        os.environ["MIDIFORGE_TRACE"] = "1"
        with tempfile.TemporaryDirectory() as folder:
            TARGETS[asked.one[0]](Path(asked.one[1]).read_bytes(), Path(folder))
        return 0
    asked.cases.mkdir(exist_ok=True)
    if asked.breed:
        breed(asked.breed[0], asked.corpus, asked.cases, int(asked.breed[1]), asked.seed)
        return 0
    before = set(asked.cases.iterdir())
    with tempfile.TemporaryDirectory(prefix="midiforge-corpus-") as name:
        end = time.monotonic() + 60 * asked.minutes
        slice_ = max(10, min(120, int(60 * asked.minutes / len(asked.targets))))
        number = broken = 0
        while time.monotonic() < end - 5:
            target = asked.targets[number % len(asked.targets)]
            corpus = Path(name, target)
            if not corpus.exists():
                corpus.mkdir()
                good(target, corpus)
            left = int(min(slice_, end - time.monotonic()))
            options = ("--corpus", str(corpus), "--cases", str(asked.cases))
            options += ("--seed", str(asked.seed + number))
            command = [sys.executable, __file__, "--breed", target, str(max(5, left)), *options]
            child = subprocess.Popen(command, stderr=subprocess.PIPE, text=True, errors="replace")
            try:
                _, told = child.communicate(timeout=left + _TO_END)
            except subprocess.TimeoutExpired:
                child.kill()
                _, told = child.communicate()
            said = [line for line in told.splitlines() if not line.startswith("INFO: ")]
            print("\n".join(said), file=sys.stderr, flush=True)
            broken += child.returncode != 0
            number += 1
        for tally in sorted(Path(name).glob("*.tried")):
            print(f"{tally.stem}: {int(tally.read_text()):,} inputs")
    new = sorted(set(asked.cases.iterdir()) - before)
    print(f"{len(new)} cases kept in {asked.cases}; {broken} processes ended badly")
    return 1 if new or broken else 0


if __name__ == "__main__":
    sys.exit(main())
