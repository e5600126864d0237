"""Looking back on the page of `open`: takes that are dropped are reviewed and logged as the command
does it, and the log is shown, player by player."""

import io
import json
import re
from collections.abc import Iterator
from datetime import date
from itertools import count
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import mido
import pytest
from browser import chromium, sized
from desk import served
from desk_asked import ask, do, give, until
from synthetic import synthetic

import midiforge
from midiforge.command.run import run
from midiforge.desk.looking_back import LARGEST_TAKE
from midiforge.practice.entry import Entry
from midiforge.practice.log import Log
from midiforge.session import Session

DRILL = """title = "Harbour steps"
sticking = ["RLRR LRLL", "RRLL"]
feet = "samba"
stages = "full"
tempos = "60, 80"
"""
_AXE = Path(__file__).parent.parent / ".ci" / "node_modules" / "axe-core" / "axe.min.js"
_ENTER = "\ue007"  # as WebDriver has it


_numbers = count(1)


def take_of(number: str = "1a", **how: Any) -> bytes:
    """A take as a file's bytes, another each time."""
    exercise = midiforge.Lesson(_drill())[number]
    take, _ = synthetic(exercise, **{"seed": next(_numbers), "seconds": 24, **how})
    track, last = mido.MidiTrack(), 0
    for stroke in take.strokes:
        at = round(960 * stroke.time)
        struck = {"note": stroke.number, "velocity": stroke.velocity}
        track.append(mido.Message("note_on", channel=9, time=at - last, **struck))
        last = at
    stream = io.BytesIO()
    mido.MidiFile(ticks_per_beat=480, tracks=[track]).save(file=stream)
    return stream.getvalue()


def _drill() -> midiforge.Drill:
    from midiforge.drill.read import drill_in

    return drill_in(DRILL, Path("harbour.toml"))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("lessons")


@pytest.fixture(scope="module")
def address(folder: Path) -> Iterator[str]:
    with served(folder) as page:
        yield page


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("profile"))


@pytest.fixture
def drill(folder: Path) -> Path:
    """A drill of which no take was given yet."""
    path = folder / f"harbour{next(_numbers)}.toml"
    path.write_text(DRILL)
    return path


@pytest.fixture
def player() -> str:
    """Somebody whom the log does not know yet."""
    return f"Player {next(_numbers)}"


def logged(folder: Path, player: str) -> list[Entry]:
    return [entry for entry in Log(folder / "log.sqlite").entries() if entry.player == player]


def kept_in(drill: Path) -> list[str]:
    takes = drill.with_name(f"{drill.stem} lesson") / "takes"
    return sorted(path.name for path in takes.iterdir()) if takes.is_dir() else []


def given(address: str, drill: Path, name: str, content: bytes) -> Any:
    return give(address, "api/takes", content, drill=drill.name, name=name)


def reviewed(address: str, drill: Path, *takes: str, **said: str) -> Any:
    """What came of takes that are kept."""
    asked = {"drill": drill.name, "takes": [*takes], **said}
    answer = do(address, "api/reviews", asked)
    if "error" in answer:
        return answer

    def over() -> Any:
        jobs = ask(address, "api/reviews", drill=drill.name)["jobs"]
        [job] = [job for job in jobs if job["number"] == answer["number"]]
        return job if job["state"] not in ("waits", "works") else None

    job = until(over, "it is heard at some time")
    if job["state"] != "done":
        return job
    return ask(address, "api/review", drill=drill.name, number=str(job["number"]))


# Takes


def test_a_take_is_logged_and_told_as_the_command_does_it(
    drill: Path, folder: Path, address: str, player: str, tmp_path: Path
) -> None:
    content = take_of(miss=0.2)
    kept = given(address, drill, "2026-03-31 take.mid", content)
    came = reviewed(address, drill, kept["take"], note="tired", player=player)
    [entry] = logged(folder, player)
    own = tmp_path / "2026-03-31 take.mid"
    own.write_bytes(content)
    page, log = tmp_path / "review.html", tmp_path / "log.sqlite"
    flags = ["--log", str(log), "--note", "tired", "--player", player, "--out", str(page)]
    assert run(["review", str(own), str(drill), *flags]) == 0
    assert [entry] == [
        midiforge.practice.entry.Entry(**{**vars_of(theirs), "when": entry.when})
        for theirs in Log(log).entries()
    ]
    assert entry.day == date(2026, 3, 31)
    # But for its seal, and for flags, which are the command's.
    without_flags = re.sub(r" \(play with --[^)]*\)", "", page.read_text())
    assert without_flags.startswith(came["page"])
    assert "(play with" in page.read_text()
    assert came["logged"] == f"In the log of {player}, as played on 2026-03-31, as its name says."


def vars_of(entry: Entry) -> dict[str, Any]:
    return {name: getattr(entry, name) for name in Entry.__annotations__}


def test_many_takes_make_the_page_of_the_day(
    drill: Path, folder: Path, address: str, player: str
) -> None:
    names = []
    for number in ("1a", "1a", "2a"):
        name = f"take-{len(names)}.mid"
        names.append(given(address, drill, name, take_of(number))["take"])
    names.append(given(address, drill, "other.mid", empty())["take"])
    came = reviewed(address, drill, *names, player=player, date="2026-02-01")
    assert came["said"] == "3 takes of 2 exercises, 3 good; 1 take could not be told."
    assert came["logged"] == f"In the log of {player}: 3 takes."
    assert "other.mid: " in came["page"]
    assert {entry.day for entry in logged(folder, player)} == {date(2026, 2, 1)}


def empty() -> bytes:
    stream = io.BytesIO()
    mido.MidiFile(tracks=[mido.MidiTrack()]).save(file=stream)
    return stream.getvalue()


@pytest.mark.parametrize(
    ("field", "typed"),
    [("date", "yesterday"), ("date", "2998-01-01"), ("number", "99"), ("number", "x")],
)
def test_what_is_wrong_is_said_of_its_field_and_nothing_is_logged(
    drill: Path, folder: Path, address: str, player: str, field: str, typed: str
) -> None:
    name = given(address, drill, "take.mid", take_of())["take"]
    answer = reviewed(address, drill, name, player=player, **{field: typed})
    assert answer["error"]["key"] == field
    assert logged(folder, player) == []


def test_a_take_is_kept_once_and_never_overwritten(drill: Path, address: str) -> None:
    first, second = take_of(), take_of()
    assert given(address, drill, "take.mid", first)["take"] == "take.mid"
    assert given(address, drill, "take.mid", second)["take"] == "take-2.mid"
    assert given(address, drill, "again.mid", first)["take"] == "take.mid"
    assert kept_in(drill) == ["take-2.mid", "take.mid"]
    folder = drill.with_name(f"{drill.stem} lesson") / "takes"
    assert (folder / "take.mid").read_bytes() == first


@pytest.mark.parametrize("content", [b"", b"no MIDI", b"%PDF-1.7 " * 99, bytes(5000)])
def test_what_is_no_midi_is_not_kept_and_the_reason_is_said(
    drill: Path, address: str, content: bytes
) -> None:
    assert given(address, drill, "song.mid", content)["error"]["said"].startswith("song.mid: ")
    assert kept_in(drill) == []


def test_what_is_too_large_is_not_kept(drill: Path, address: str) -> None:
    large = take_of() + bytes(LARGEST_TAKE)
    assert "too large" in given(address, drill, "long.mid", large)["error"]["said"]
    assert kept_in(drill) == []


@pytest.mark.parametrize(
    "name",
    ["../../up.mid", "/etc/passwd", "C:\\takes\\one.mid", ".hidden.mid", "", "..", "a\x00b.mid",
     "x" * 400 + ".mid", "Übung 3.MID", "take.mid.exe", "<b>&.mid", "CON?*|.mid"],
)  # fmt: skip
def test_any_name_becomes_one_in_the_folder_of_takes(drill: Path, address: str, name: str) -> None:
    kept = given(address, drill, name, take_of())["take"]
    assert kept_in(drill) == [kept]
    assert kept == Path(kept).name
    assert kept.endswith(".mid")
    assert not kept.startswith(".")
    assert len(kept.encode()) < 255


def test_before_the_first_take_none_is_kept_and_a_job_that_went_wrong_gives_nothing(
    drill: Path, address: str
) -> None:
    assert ask(address, "api/way", drill=drill.name)["takes"] == []
    name = given(address, drill, "gone.mid", take_of())["take"]
    (drill.with_name(f"{drill.stem} lesson") / "takes" / name).write_bytes(b"MThd")
    job = reviewed(address, drill, name)
    assert (job["state"], job["given"]) == ("wrong", None)


def test_only_takes_that_are_kept_are_heard(drill: Path, address: str) -> None:
    for name in ("../../harbour.toml", "nothing.mid", "", 7, ["take.mid"]):
        assert "error" in do(address, "api/reviews", {"drill": drill.name, "takes": [name]})
    for takes in ([], "take.mid", None, ["take.mid"] * 1000):
        assert "error" in do(address, "api/reviews", {"drill": drill.name, "takes": takes})


def test_a_take_of_something_else_is_not_logged_and_that_is_said(
    drill: Path, folder: Path, address: str, player: str
) -> None:
    drill.write_text('sticking = "RLL"\nmeter = "3/4"\nsteps = 3\nstages = "hands"\n')
    name = given(address, drill, "take.mid", take_of("2a"))["take"]
    came = reviewed(address, drill, name, player=player)
    assert came["logged"].startswith("Not kept in the log: ")
    assert logged(folder, player) == []


# The log


def test_the_way_and_what_is_next_are_those_of_the_log(
    drill: Path, folder: Path, address: str, player: str, capsys: pytest.CaptureFixture[str]
) -> None:
    for day, miss in (("2026-03-01", 0.3), ("2026-03-02", 0.0)):
        name = given(address, drill, f"{day}.mid", take_of(miss=miss))["take"]
        reviewed(address, drill, name, player=player, note="tired")
    back = ask(address, "api/way", drill=drill.name, player=player)
    [way] = back["ways"]
    assert [take["day"] for take in way["takes"]] == ["2026-03-02", "2026-03-01"]
    assert way["takes"][0]["good"] == "good"
    assert way["takes"][1]["good"].startswith("not yet: ")
    assert way["takes"][0]["note"] == "tired"
    assert way["goal"] == 80
    log = str(folder / "log.sqlite")
    advised = Session(drill, log, player).advise()
    capsys.readouterr()
    assert run(["next", str(drill), "--log", log, "--player", player, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert len(advised) == len(told)
    said = " ".join(sentence for _, _, sentence in back["next"])
    for one in told:
        assert one["said"] in said
        assert one["why"] in said


def test_the_picture_has_a_mark_for_each_take_good_ones_filled_and_the_goal(
    drill: Path, address: str, player: str
) -> None:
    for seed, miss in ((1, 0.3), (2, 0.0), (3, 0.0)):
        name = given(address, drill, f"2026-03-0{seed}.mid", take_of(miss=miss))
        reviewed(address, drill, name["take"], player=player)
    [way] = ask(address, "api/way", drill=drill.name, player=player)["ways"]
    asked = {"drill": drill.name, "player": player, "key": way["key"]}
    for wide in ("320", "640"):
        root = ElementTree.fromstring(ask(address, "api/way/picture", wide=wide, **asked))
        svg = "{http://www.w3.org/2000/svg}"
        marks = [mark.get("class") for mark in root.iter(f"{svg}circle")]
        assert (marks.count("g"), marks.count("o")) == (2, 1)
        assert root.get("width") == wide
        assert "goal 80" in [text.text for text in root.iter(f"{svg}text")]
        ends = [float(line.get("x2", 0)) for line in root.iter(f"{svg}line")]
        assert max(ends) < int(wide)


def test_players_are_kept_apart(drill: Path, address: str) -> None:
    for name in ("Ida", "Ole"):
        kept = given(address, drill, f"{name}.mid", take_of())["take"]
        reviewed(address, drill, kept, player=name)
    for name in ("Ida", "Ole"):
        back = ask(address, "api/way", drill=drill.name, player=name)
        assert {"Ida", "Ole", ""} <= {player["name"] for player in back["players"]}
        assert [take["take"] for way in back["ways"] for take in way["takes"]] == [f"{name}.mid"]
    assert ask(address, "api/way", drill=drill.name, player="")["ways"] == []


def test_a_plan_is_that_of_the_command_and_is_kept_as_a_lesson(
    drill: Path, folder: Path, address: str, player: str
) -> None:
    asked = {"drill": drill.name, "player": player}
    plan = ask(address, "api/plan", minutes="20", **asked)
    made = Session(drill, None, player).plan(20)
    from midiforge.practice.words import plan_note

    assert plan["lines"] == [[at, said, [*each]] for at, said, each in plan_note(made)]
    kept = do(address, "api/plan", {"minutes": 20, **asked})["drill"]
    log = str(folder / "log.sqlite")
    Log(log).add()  # it need not be there yet
    flags = ["--minutes", "20", "--log", log, "--player", player]
    ours = folder / "ours.toml"
    assert run(["plan", str(drill), *flags, "--out", str(ours)]) == 0
    assert (folder / kept).read_bytes() == ours.read_bytes()
    assert kept in ask(address, "api/drills")["drills"]
    assert ask(address, "api/plan", minutes="900", **asked)["error"]["key"] == "minutes"


def test_what_is_next_is_a_lesson_of_its_own_at_a_tap_and_what_was_made_of_it_is_kept(
    drill: Path, folder: Path, address: str, player: str
) -> None:
    who = {"drill": drill.name, "player": player}
    back = ask(address, "api/way", **who)
    key = back["taken_up"][0]
    assert not any("--" in said for _, _, said in back["next"])
    made = do(address, "api/next", {**who, "key": key})["drill"]
    (one,) = midiforge.exercises(midiforge.read_drill(folder / made))
    advised = Session(drill, None, player).advise()[0]
    assert (one.title, one.tempo.first) == (advised.group.title, advised.tempo)
    assert made in ask(address, "api/drills")["drills"]
    assert do(address, "api/next", {**who, "key": key})["drill"] == made
    (folder / made).write_text((folder / made).read_text().replace("samba", "1 3"))
    other = do(address, "api/next", {**who, "key": key})["drill"]
    assert other != made
    assert "1 3" in (folder / made).read_text()
    assert "error" in do(address, "api/next", {**who, "key": "of no exercise"})


def test_where_nothing_was_played_the_log_need_not_be_there(tmp_path: Path) -> None:
    (tmp_path / "harbour.toml").write_text(DRILL)
    with served(tmp_path) as address:
        back = ask(address, "api/way", drill="harbour.toml")
        assert back["ways"] == []
        assert back["next"]
        assert not (tmp_path / "log.sqlite").exists()


# As a person does it


def seen(browser: Any, css: str) -> Any:
    return until(lambda: browser.find_elements("css selector", css), css)[0]


def test_a_person_drops_takes_and_sees_the_review_and_the_way(
    drill: Path, folder: Path, address: str, browser: Any, tmp_path: Path
) -> None:
    browser.get(f"{address}#view=look-back&drill={drill.name}")
    for seed in (1, 2):
        (tmp_path / f"2026-04-0{seed}.mid").write_bytes(take_of())
    (tmp_path / "song.mid").write_bytes(b"no MIDI")
    seen(browser, "#back-note").send_keys("new kit")
    paths = "\n".join(str(path) for path in sorted(tmp_path.glob("*.mid")))
    seen(browser, "#back-files").send_keys(paths)
    frame = seen(browser, ".review iframe")
    assert browser.switch_to.active_element.text == "The review of 2 takes"
    browser.switch_to.frame(frame)
    assert "2 takes of 1 exercise" in seen(browser, "h1").text
    browser.switch_to.default_content()
    picture = seen(browser, ".way img")
    until(lambda: browser.execute_script("return arguments[0].naturalWidth", picture), "drawn")
    assert "2 takes, the last on 2026-04-02" in picture.get_attribute("alt")
    seen(browser, ".way summary").send_keys(_ENTER)
    rows = browser.find_elements("css selector", ".way tbody tr")
    assert [row.text.split()[0] for row in rows] == ["2026-04-02", "2026-04-01"]
    assert {entry.note for entry in logged(folder, "") if entry.source in kept_in(drill)} == {
        "new kit"
    }


def view(browser: Any, address: str, drill: Path) -> None:
    browser.get(address)
    browser.execute_script("sessionStorage.clear()")  # as in a new tab
    browser.get("about:blank")
    browser.get(f"{address}#view=look-back&drill={drill.name}")
    until(lambda: len(browser.find_elements("css selector", "#back-player option")) > 1, "players")


def test_takes_can_be_dropped_anywhere_on_the_view(drill: Path, address: str, browser: Any) -> None:
    view(browser, address, drill)
    browser.execute_script(
        "const all = new DataTransfer();"
        "all.items.add(new File([new Uint8Array(arguments[0])], 'dropped.mid'));"
        "document.querySelector('.look-back').dispatchEvent("
        "  new DragEvent('drop', { dataTransfer: all, bubbles: true, cancelable: true }))",
        [*take_of()],
    )
    seen(browser, ".review iframe")
    assert kept_in(drill) == ["dropped.mid"]


def test_on_a_telephone_the_review_comes_into_sight(
    drill: Path, address: str, browser: Any, tmp_path: Path
) -> None:
    (tmp_path / "small.mid").write_bytes(take_of())
    sized(browser, 360, 740)
    view(browser, address, drill)
    seen(browser, "#back-files").send_keys(str(tmp_path / "small.mid"))
    seen(browser, ".review:not([hidden]) iframe")
    at = "return document.querySelector('.review h2').getBoundingClientRect().top"
    until(lambda: 0 <= browser.execute_script(at) < 370, "its heading is in the upper half")
    assert browser.switch_to.active_element.text.startswith("The review of")
    sized(browser, 1000, 700)


def test_what_is_no_take_is_said_in_the_news(
    drill: Path, address: str, browser: Any, tmp_path: Path
) -> None:
    (tmp_path / "song.mid").write_bytes(b"no MIDI")
    view(browser, address, drill)
    seen(browser, "#back-files").send_keys(str(tmp_path / "song.mid"))
    until(lambda: "song.mid: " in seen(browser, "#news").text, "it is said")
    assert not browser.find_elements("css selector", ".jobs li")


def test_somebody_new_is_named_and_has_a_log_of_their_own(
    drill: Path, folder: Path, address: str, browser: Any, player: str, tmp_path: Path
) -> None:
    (tmp_path / "own.mid").write_bytes(take_of())
    view(browser, address, drill)
    seen(browser, "#back-player option:last-child").click()
    seen(browser, "#back-newcomer").send_keys(player, _ENTER)
    until(lambda: browser.find_elements("css selector", f"option[value='{player}']"), "is chosen")
    seen(browser, "#back-files").send_keys(str(tmp_path / "own.mid"))
    seen(browser, ".review:not([hidden]) iframe")
    assert [entry.source for entry in logged(folder, player)] == ["own.mid"]


def test_a_plan_is_kept_and_opened_as_a_lesson(drill: Path, address: str, browser: Any) -> None:
    view(browser, address, drill)
    seen(browser, ".line button").send_keys(_ENTER)
    seen(browser, ".plan .keep").send_keys(_ENTER)
    link = seen(browser, ".plan a")
    assert browser.switch_to.active_element == link
    link.send_keys(_ENTER)
    plan = f"{drill.stem} plan {date.today().isoformat()}.toml"
    until(lambda: browser.execute_script("return drill.value") == plan, "it is open")
    assert (drill.parent / plan).is_file()


def test_what_is_next_is_opened_as_a_lesson(drill: Path, address: str, browser: Any) -> None:
    view(browser, address, drill)
    seen(browser, "td .act").send_keys(_ENTER)
    made = f"{drill.stem} 1 {date.today().isoformat()}.toml"
    until(lambda: browser.execute_script("return drill.value") == made, "it is open")
    seen(browser, ".write .slot .system")


@pytest.mark.parametrize("width", [1280, 820, 360])
@pytest.mark.parametrize("name", ["hand-out", "look-back"])
def test_axe_core_has_nothing_to_say_and_nothing_hangs_out(
    drill: Path, address: str, browser: Any, name: str, width: int
) -> None:
    if not _AXE.is_file():
        pytest.skip("pages are checked by axe-core: npm install --prefix .ci")
    for day in (1, 2):
        kept = given(address, drill, f"2026-05-0{day}.mid", take_of())
        reviewed(address, drill, kept["take"])
    make = {"drill": drill.name, "kinds": [".csv", "midi"]}
    do(address, "api/made", make)
    until(lambda: len(ask(address, "api/made", drill=drill.name)["made"]) == 2, "made")
    sized(browser, width, 900)
    browser.get("about:blank")
    browser.get(f"{address}#view={name}&drill={drill.name}")
    if name == "look-back":
        seen(browser, ".jobs .act").send_keys(_ENTER)
        seen(browser, ".review iframe")
        seen(browser, ".line button").send_keys(_ENTER)
        seen(browser, ".way summary").send_keys(_ENTER)
        seen(browser, ".plan .keep")
    else:
        seen(browser, "#hand-kinds input[value=loops]").send_keys(" ")
        seen(browser, ".made .act")
    assert browser.execute_script("return document.documentElement.scrollWidth") <= width
    browser.execute_script(_AXE.read_text(encoding="utf-8"))
    said = browser.execute_async_script(
        "const done = arguments[0];"
        "axe.run(document, { resultTypes: ['violations'] }).then(({ violations }) => done("
        "violations.map((it) => it.id + ': ' + it.nodes.map((n) => n.html).join(' '))))"
    )
    assert said == []
    small = browser.execute_script(
        "return [...document.querySelectorAll('.view:not([hidden]) :is(button, select, .act, "
        "input:not([type=checkbox]))')].filter((it) => it.offsetHeight && it.offsetHeight < 44)"
        ".map((it) => it.outerHTML)"
    )
    assert small == []


def test_nothing_of_it_reports_an_error_in_the_browser(browser: Any) -> None:
    """Refused answers (422), which pages are told of, aside."""
    logs = [line for line in browser.get_log("browser") if line["level"] == "SEVERE"]
    assert [line["message"] for line in logs if " 422 " not in line["message"]] == []
