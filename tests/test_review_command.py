"""`midiforge review`: which exercise a take is of, what is printed, what is refused in one line.

No published source: the rules are the project's own (exit code 2, one line on standard error).
Takes are made up (tests/synthetic.py) and written with mido.
"""

import json
import random
import re
import shlex
import time
from pathlib import Path
from typing import Any

import mido
import pytest
from synthetic import KIT, synthetic

import midiforge
from midiforge.command.run import run
from midiforge.hear.take import EXERCISE_MARK, START_MARK, Take
from midiforge.kits.kit import read_kit

DRILL = str(Path(__file__).parent.parent / "examples" / "01-slack-water-bossa.toml")
BOSSA = {str(each.number): each for each in midiforge.exercises(midiforge.read_drill(DRILL))}
FULL = "5a"  # of BOSSA, at 58; 5b and 5c are the same at 76 and 94


@pytest.fixture(autouse=True)
def in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def write(
    take: Take, name: str = "take.mid", tempo: float = 120, markers: Any = (), title: str = ""
) -> str:
    """A take as a file; markers: (seconds, text). title: what its track is called."""
    file = mido.MidiFile(ticks_per_beat=960)
    track = mido.MidiTrack()
    file.tracks.append(track)
    track.name = title
    a_second = 960 * tempo / 60
    events = [(0, mido.MetaMessage("set_tempo", tempo=round(60e6 / tempo)))]
    events += [
        (round(at * a_second), mido.MetaMessage("marker", text=text)) for at, text in markers
    ]
    events += [
        (
            round(stroke.time * a_second),
            mido.Message("note_on", channel=9, note=stroke.number, velocity=stroke.velocity),
        )
        for stroke in take.strokes
    ]
    last = 0
    for at, message in sorted(events, key=lambda each: each[0]):
        track.append(message.copy(time=at - last))
        last = at
    file.save(name)
    return name


def played(number: str = FULL, **how: Any) -> Take:
    return synthetic(BOSSA[number], **{"seconds": 40, **how})[0]


def facts(capsys: pytest.CaptureFixture[str], *arguments: str) -> dict[str, Any]:
    assert run(["review", *arguments, "--json", "--no-log"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    found: dict[str, Any] = json.loads(out)
    return found


def refused(capsys: pytest.CaptureFixture[str], *arguments: str) -> str:
    code = run(["review", *arguments])
    out, err = capsys.readouterr()
    assert (code, out) == (2, "")
    assert err.startswith("midiforge: ") and err.count("\n") == 1, err
    return err


# Which exercise


@pytest.mark.parametrize("number", ["5a", "05a", " 5A "])
def test_the_exercise_is_the_one_that_is_named(
    number: str, capsys: pytest.CaptureFixture[str]
) -> None:
    found = facts(capsys, write(played()), DRILL, "--exercise", number)
    assert found["exercise"]["number"] == FULL
    assert found["chosen"] == "" and found["rules"] == ["clean"]


def test_the_take_comes_before_the_drill(capsys: pytest.CaptureFixture[str]) -> None:
    take = write(played())
    assert run(["review", take, DRILL, "--exercise", FULL, "--no-log"]) == 0
    assert re.match(r"All \d+ strokes clean", capsys.readouterr().out)
    assert "drill" in refused(capsys, take)


def test_a_take_that_names_its_exercise_is_believed(capsys: pytest.CaptureFixture[str]) -> None:
    marks = [(3.0, START_MARK), (3.0, f"{EXERCISE_MARK}{FULL}")]
    found = facts(capsys, write(played(start=3.02), markers=marks), DRILL)
    assert found["exercise"]["number"] == FULL
    assert "take names" in found["chosen"]
    assert found["delay_ms"] == pytest.approx(20, abs=3)


def test_a_mark_that_the_drill_does_not_have_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    found = facts(capsys, write(played(), markers=[(3.0, f"{EXERCISE_MARK}400")]), DRILL)
    assert found["exercise"]["number"] == FULL
    assert "exercise 400, which the drill does not have" in found["chosen"]


@pytest.mark.parametrize("number", ["1a", "3c", "5a", "5b", "5c", "7c", "9a"])
def test_without_a_number_the_likeliest_at_the_tempo_played_is_found(
    number: str, capsys: pytest.CaptureFixture[str]
) -> None:
    found = facts(capsys, write(played(number)), DRILL)
    same = BOSSA[found["exercise"]["number"]]
    assert same.tempo == BOSSA[number].tempo
    assert "likeliest of 9 exercises" in found["chosen"]
    # On one surface nobody can tell four placements that go round; then the others are named.
    assert str(same.number) == number or "as likely" in found["chosen"]


def test_a_drill_of_one_exercise_needs_no_number(capsys: pytest.CaptureFixture[str]) -> None:
    [only] = midiforge.exercises(
        midiforge.check_drill({"sticking": "RLRR LRLL", "stages": "hands", "tempos": 80})
    )
    take = write(synthetic(only)[0])
    keys = ("--sticking", "RLRR LRLL", "--stages", "hands", "--tempos", "80")
    found = facts(capsys, take, *keys)
    assert (found["exercise"]["number"], found["chosen"]) == ("1", "")
    assert found["rules"] == ["clean"]


def test_a_take_of_another_exercise_is_told_which_looks_likelier(
    capsys: pytest.CaptureFixture[str],
) -> None:
    take = write(played("7b"))  # at 76
    found = facts(capsys, take, DRILL, "--exercise", "03a")
    assert found["exercise"]["number"] == "3a"
    assert "exercise 7b looks likelier" in found["sentence"]
    assert found["compared"][0]["number"] == "7b"


def test_a_faulty_take_of_the_right_exercise_is_not_sent_to_another(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for seed in range(5):
        take = played(seed=seed, miss=0.25, extra=0.08, jitter=0.02)
        found = facts(capsys, write(take), DRILL, "--exercise", FULL)
        assert "other exercise" not in found["rules"], seed
        assert "other kit" not in found["rules"], seed


def test_another_tempo_than_the_named_exercise_s_is_said(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = facts(capsys, write(played("5c")), DRILL, "--exercise", FULL)
    assert found["exercise"]["number"] == FULL
    assert found["chosen"] == "played at the tempo of exercise 5c"
    assert found["played_tempo_bpm"] == pytest.approx(94, abs=0.5)


# What to do next


def next_of(capsys: pytest.CaptureFixture[str], number: str) -> dict[str, str]:
    """What `midiforge next` says of an exercise."""
    assert run(["next", DRILL, "--log", "log.sqlite", "--json"]) == 0
    [found] = [e for e in json.loads(capsys.readouterr().out) if number in e["exercises"]]
    return dict(found)


@pytest.mark.parametrize(
    ("how", "said"),
    [
        ({}, ["stay at 58: good once", "safe at 58: ", "safe at 58: "]),
        ({"miss": 0.12}, ["stay at 58", "stay at 58", "stay at 58"]),
        ({"miss": 0.4}, ["down to 50"] * 3),  # three steps of 5 %: far from good
    ],
)
def test_a_review_and_next_name_the_same_tempo(
    how: dict[str, Any], said: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    for seed, wanted in enumerate(said):
        take = write(played(seed=seed if how == {} else 1, **how), f"take{seed}.mid")
        shown = run(["review", take, DRILL, "--exercise", FULL, "--log", "log.sqlite"])
        out = capsys.readouterr().out
        step = next_of(capsys, FULL)
        assert shown == 0 and f"{step['said']}: {step['why']}".startswith(wanted)
        assert f"Next: {step['said']}" in (said_next := " ".join(out.split()))
        assert f"(play with {step['flags']})" in said_next
        # Of no log it is this take alone.
        assert facts(capsys, take, DRILL, "--exercise", FULL)["next"].startswith(said[0])


@pytest.mark.parametrize("how", [{"miss": 0.12}, {"drift": -0.004}, {"extra": 0.2}])
def test_what_happened_whether_it_is_good_and_what_is_next_are_three_things(
    how: dict[str, Any], capsys: pytest.CaptureFixture[str]
) -> None:
    take = write(played(**how))
    assert run(["review", take, DRILL, "--exercise", FULL, "--log", "log.sqlite"]) == 0
    shown = " ".join(capsys.readouterr().out.split("\n\n")[0].split())
    happened, rest = shown.split(" Not yet good for this exercise: ")
    lacks, step = rest.split(" Next: ")
    found = facts(capsys, take, DRILL, "--exercise", FULL)
    work_on = found["sentence"].removesuffix(".").partition(": ")[2]
    assert work_on and work_on in step and work_on not in happened
    assert found["sentence"].startswith(happened.removesuffix("."))
    for lack in lacks.removesuffix(".").split("; "):
        assert lack not in happened + step


def test_the_flags_of_the_next_step_make_the_exercise_at_its_tempo(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for seed, (how, number) in enumerate([({}, FULL), ({"miss": 0.4}, "1")]):
        take = write(played(seed=seed, **how), f"take{seed}.mid")
        assert run(["review", take, DRILL, "--exercise", FULL, "--log", f"{seed}.sqlite"]) == 0
        capsys.readouterr()
        assert run(["next", DRILL, "--log", f"{seed}.sqlite", "--json"]) == 0
        [step] = [e for e in json.loads(capsys.readouterr().out) if FULL in e["exercises"]]
        assert run(["show", DRILL, *shlex.split(step["flags"])]) == 0
        shown = capsys.readouterr().out
        assert shown.startswith(f"{number}. {BOSSA[FULL].title}\n")
        assert f"a {step['tempo']:g}" in shown or f"= {step['tempo']:g}" in shown


def test_a_take_that_is_reviewed_again_counts_once_in_what_is_next(
    capsys: pytest.CaptureFixture[str],
) -> None:
    take = write(played())
    for _ in range(3):
        assert run(["review", take, DRILL, "--exercise", FULL, "--log", "log.sqlite"]) == 0
        assert "Next: stay at 58: good once" in " ".join(capsys.readouterr().out.split())


def test_pain_that_is_noted_with_the_take_is_what_is_next(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = facts(capsys, write(played()), DRILL, "--exercise", FULL, "--note", "wrist hurts")
    assert found["next"].startswith("leave it: pain was noted")


def test_the_next_step_stands_in_the_page(capsys: pytest.CaptureFixture[str]) -> None:
    found = facts(capsys, write(played()), DRILL, "--exercise", FULL, "--html", "page.html")
    assert f"<p class=next><b>Next:</b> {found['next']}</p>" in Path("page.html").read_text("utf-8")


def test_how_steady_is_one_figure_in_the_sentence_the_table_the_page_and_the_log(
    capsys: pytest.CaptureFixture[str],
) -> None:
    for seed in range(4):
        take = write(played(seed=seed, jitter=0.008), f"take{seed}.mid")
        arguments = [take, DRILL, "--exercise", FULL, "--html", "page.html"]
        assert run(["review", *arguments, "--log", f"{seed}.sqlite"]) == 0
        out = capsys.readouterr().out
        [in_sentence] = re.findall(r"steady to (\d+ ms)", " ".join(out.split()))
        [row] = [line for line in out.splitlines() if line.startswith("all ")]
        [of_step] = re.findall(r"[\d.]+%", row)
        assert f" {in_sentence} " in row
        page = Path("page.html").read_text("utf-8")
        name = f"<dt>steady to, all limbs ({of_step} of a step)</dt>"
        assert f"{name}<dd>{in_sentence}</dd>" in page
        assert run(["log", "--log", f"{seed}.sqlite"]) == 0
        assert f" {of_step} " in capsys.readouterr().out
        found = facts(capsys, *arguments)["strokes_all"]
        assert f"{found['deviation_ms']:.0f} ms" == in_sentence
        assert f"{found['deviation_percent']:.1f}%" == of_step


# The wrong exercise


def test_a_take_of_something_else_is_not_kept_in_the_log(
    capsys: pytest.CaptureFixture[str],
) -> None:
    take = write(played("7b"))
    assert run(["review", take, DRILL, "--exercise", "3a", "--log", "log.sqlite"]) == 0
    out = capsys.readouterr().out
    assert "Next: " not in out
    assert "Not kept in the log" in out
    assert not Path("log.sqlite").exists()
    assert run(["review", take, DRILL, "--exercise", "3a", "--log", "log.sqlite", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert (found["next"], found["logged"]) == (None, False)


def test_a_mark_is_believed_only_with_the_title_of_its_exercise(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """A take of another drill, of a plan that numbers anew, or of the days when each tempo had a
    number of its own, has other numbers."""
    marks = [(0.0, f"{EXERCISE_MARK}13")]
    title = BOSSA[FULL].title
    there = write(played(), markers=marks, name="plan.mid", title=f"{title}, 58 bpm")
    found = facts(capsys, there, DRILL)
    assert found["exercise"]["number"] == FULL
    assert found["chosen"] == "the exercise that the take names, as number 13 of another list"
    other = write(played(), markers=marks, name="other.mid", title="RLRR over Samba, 58 bpm")
    found = facts(capsys, other, DRILL)
    assert found["chosen"].startswith(
        "the take names exercise 13, RLRR over Samba, which the drill"
    )
    assert found["exercise"]["number"] == FULL
    same = write(played(), markers=[(0.0, f"{EXERCISE_MARK}{FULL}")], title=f"{title}, 58 bpm")
    assert facts(capsys, same, DRILL)["chosen"] == "the exercise that the take names"


@pytest.mark.parametrize("mark", ["\u00b2", "9" * 5000, "5a5", "-1", "", "0x5"])
def test_a_mark_that_is_no_number_is_nobody_s(
    mark: str, capsys: pytest.CaptureFixture[str]
) -> None:
    take = write(played(), markers=[(0.0, f"{EXERCISE_MARK}{mark}")])
    assert facts(capsys, take, DRILL)["exercise"]["number"] == FULL


def test_a_piece_is_reviewed_at_the_tempo_nearest_to_the_one_played(
    capsys: pytest.CaptureFixture[str],
) -> None:
    found = facts(capsys, write(played("5c")), DRILL, "--exercise", "5")
    assert found["exercise"]["number"] == "5c"


# Kits


def test_a_take_of_another_kit_is_told_which_looks_likelier(
    capsys: pytest.CaptureFixture[str],
) -> None:
    take = write(played(kit=read_kit("electronic")))
    assert "the kit electronic" in facts(capsys, take, DRILL, "--exercise", FULL)["sentence"]
    right = facts(capsys, take, DRILL, "--exercise", FULL, "--kit", "electronic")
    assert right["rules"] == ["clean"]


def test_notes_that_the_kit_does_not_know_are_named(capsys: pytest.CaptureFixture[str]) -> None:
    take = played()
    odd = [stroke.__class__(stroke.time + 0.1, 0, 3, 60) for stroke in take.strokes[::9]]
    strokes = tuple(sorted([*take.strokes, *odd], key=lambda stroke: stroke.time))
    found = facts(capsys, write(Take("", strokes, 60)), DRILL, "--exercise", FULL)
    assert found["unknown_notes"] == {"3": len(odd)}
    assert any("does not know" in remark for remark in found["remarks"])


def test_a_take_of_unknown_notes_only_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    take = Take("", tuple(s.__class__(s.time, 0, 3, 60) for s in played().strokes), 60)
    assert "knows none of the take's notes (3)" in refused(capsys, write(take), DRILL)


# What is printed and written


def test_the_page_is_written_beside_what_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    take = write(played(miss=0.2))
    before = Path(take).read_bytes()
    assert run(["review", take, DRILL, "--exercise", FULL, "--html", "page.html", "--no-log"]) == 0
    out = capsys.readouterr().out
    sentence = " ".join(out.split("\nNot yet good ")[0].split())
    page = Path("page.html").read_text("utf-8")
    assert f"<h1>{sentence}</h1>" in page
    assert out.rstrip().endswith("page.html")
    assert Path(take).read_bytes() == before
    assert sorted(path.name for path in Path().iterdir()) == ["page.html", "take.mid"]


def test_the_known_delay_is_taken_off(capsys: pytest.CaptureFixture[str]) -> None:
    marks = [(3.0, START_MARK)]
    take = write(played(start=3.05), markers=marks)
    found = facts(capsys, take, DRILL, "--exercise", FULL, "--delay", "50")
    assert found["known_delay_ms"] == 50
    assert found["limbs"][0]["mean_ms"] == pytest.approx(0, abs=4)
    late = facts(capsys, take, DRILL, "--exercise", FULL, "--delay", "10")
    assert late["limbs"][0]["mean_ms"] == pytest.approx(40, abs=4)
    assert "off the click" in late["rules"]


# Bad input


def test_what_is_no_take_is_refused_in_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    Path("nothing.mid").write_bytes(b"")
    Path("garbage.mid").write_bytes(random.Random(1).randbytes(4096))
    Path("silent.mid").write_bytes(b"")
    mido.MidiFile().save("silent.mid")
    Path("folder.mid").mkdir()
    for name in ("nothing.mid", "garbage.mid", "silent.mid", "folder.mid", "missing.mid"):
        assert name in refused(capsys, name, DRILL)


def test_half_a_file_is_read_as_far_as_it_goes(capsys: pytest.CaptureFixture[str]) -> None:
    content = Path(write(played())).read_bytes()
    Path("half.mid").write_bytes(content[: len(content) // 2])
    found = facts(capsys, "half.mid", DRILL, "--exercise", FULL)
    assert found["rules"] == ["clean"] and found["remarks"]
    assert 0.4 < found["seconds_s"] / 40 < 0.6


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("--exercise", "99"), ("--exercise", "no exercise 99", "1 to 9")),
        (("--exercise", "0"), ("no exercise 0",)),
        (("--exercise", "-3"), ("--exercise", "'-3'")),
        (("--exercise", "7,8"), ("--exercise", "'7,8'")),
        (("--exercise", "\u0667"), ("--exercise", "such as 3 or 3b")),
        (("--exercise", "9" * 50), ("--exercise",)),
        (("--delay", "nan"), ("--delay", "nan")),
        (("--delay", "inf"), ("--delay",)),
        (("--delay", "1e9"), ("--delay",)),
        (("--delay", "soon"), ("--delay",)),
        (("--kit", "nowhere"), ("nowhere",)),
        (("--html", "no/where.html"), ("where.html", "cannot be written")),
        (("--html", "."), (".",)),
    ],
)
def test_what_cannot_be_is_refused_in_one_line(
    arguments: tuple[str, ...], words: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    line = refused(capsys, write(played(seconds=20)), DRILL, *arguments)
    for word in words:
        assert word in line


def test_somebody_s_own_page_is_not_written_over(capsys: pytest.CaptureFixture[str]) -> None:
    Path("mine.html").write_text("<h1>mine</h1>")
    line = refused(capsys, write(played(seconds=20)), DRILL, "--html", "mine.html")
    assert "not written by midiforge" in line
    assert Path("mine.html").read_text() == "<h1>mine</h1>"


def test_an_exercise_that_asks_nothing_of_the_player_is_refused(
    capsys: pytest.CaptureFixture[str],
) -> None:
    take = write(played(seconds=20))
    code = run(["review", take, "--layers", "bembe", "--stages", "full", "--no-log"])
    assert code == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_tempo_changes_in_the_middle_of_the_file_change_nothing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    take = played(seconds=20, jitter=0.004)
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    # One beat a half second up to 10 s, then a beat a third of a second.
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    changed, last = False, 0
    for stroke in take.strokes:
        if stroke.time >= 10 and not changed:
            track.append(mido.MetaMessage("set_tempo", tempo=333_333, time=9600 - last))
            changed, last = True, 9600
        at = stroke.time * 960 if not changed else 9600 + (stroke.time - 10) / 0.333333 * 480
        track.append(
            mido.Message("note_on", channel=9, note=stroke.number, velocity=stroke.velocity,
                         time=round(at) - last)
        )  # fmt: skip
        last = round(at)
    file.save("changing.mid")
    found = facts(capsys, "changing.mid", DRILL, "--exercise", FULL)
    assert found["rules"] == ["clean"]
    assert found["played_tempo_bpm"] == pytest.approx(58, abs=0.2)


def test_of_a_take_of_nothing_figures_are_shown_only_where_its_exercise_is_named(
    capsys: pytest.CaptureFixture[str],
) -> None:
    chance = random.Random(5)
    file = mido.MidiFile(ticks_per_beat=480)
    file.tracks.append(mido.MidiTrack())
    for _ in range(200):
        number, later = chance.choice([36, 38, 44, 48, 51]), chance.randint(90, 700)
        file.tracks[0].append(mido.Message("note_on", channel=9, note=number, time=later))
    file.save("noise.mid")
    assert run(["review", "noise.mid", str(DRILL), "--no-log"]) == 0
    told = capsys.readouterr().out
    assert "missed" not in told and "--exercise" in told
    number = told.split("--exercise ")[-1].split()[0]
    assert run(["review", "noise.mid", str(DRILL), "--no-log", "--exercise", number]) == 0
    assert "missed" in capsys.readouterr().out


def test_a_hundred_thousand_notes_of_nothing_are_said_to_be_nothing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    chance = random.Random(3)
    file = mido.MidiFile(ticks_per_beat=480)
    track = mido.MidiTrack()
    file.tracks.append(track)
    for _ in range(100_000):
        track.append(
            mido.Message("note_on", channel=9, note=chance.choice([36, 38, 44, 48, 51, 53]),
                         velocity=chance.randint(1, 127), time=chance.randint(1, 60))
        )  # fmt: skip
    file.save("noise.mid")
    start = time.process_time()
    found = facts(capsys, "noise.mid", DRILL)
    assert time.process_time() - start < 20
    assert found["rules"][0] in ("other exercise", "other kit")
    assert "clean" not in found["rules"]


def test_a_take_on_the_shipped_kit_s_own_notes_is_all_heard() -> None:
    assert {KIT.voice(stroke.number) for stroke in played().strokes} == {
        each.voice for each in BOSSA[FULL].hits if each.limb
    }


@pytest.mark.parametrize("flag", ["", "--json"])
def test_a_damaged_log_does_not_hide_the_review(
    flag: str, capsys: pytest.CaptureFixture[str]
) -> None:
    Path("log.sqlite").write_bytes(b"no log " * 100)
    take = write(played(seconds=20))
    words = filter(None, ("review", take, DRILL, "--exercise", FULL, "--log", "log.sqlite", flag))
    assert run([*words]) == 2
    out, err = capsys.readouterr()
    assert json.loads(out)["rules"] == ["clean"] if flag else " strokes clean, " in out
    assert "log.sqlite" in err and err.count("\n") == 1
