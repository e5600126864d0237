"""Writing lessons on the page of `midiforge open`, in a browser, as a person would."""

import shutil
import signal
import time
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import chromium, sized
from desk import served, server
from desk_asked import ask

import midiforge

EXAMPLES = sorted((Path(__file__).parents[1] / "examples").glob("0*.toml"))
KIT = EXAMPLES[0].parent / "rehearsal-room.toml"
STARTER = Path(midiforge.__file__).parent / "desk" / "starter.toml"
BOSSA = EXAMPLES[0]
_AXE = Path(__file__).parent.parent / ".ci" / "node_modules" / "axe-core" / "axe.min.js"
_PATIENCE = 20.0  # seconds, on a busy machine


class Person:
    """Somebody who sits at the page, and the folder that it is open on."""

    def __init__(self, driver: Any, folder: Path, address: str) -> None:
        self.driver, self.folder, self.address = driver, folder, address

    def open(self, drill: str = "") -> "Person":
        self.driver.get("about:blank")
        self.driver.get(self.address + (f"#drill={drill}" if drill else ""))
        self.until("return document.querySelectorAll('.slot .system').length > 0")
        return self

    def js(self, script: str, *values: Any) -> Any:
        return self.driver.execute_script(script, *values)

    def until(self, script: str, *values: Any) -> Any:
        return self.when(lambda: self.js(script, *values), script)

    def when(self, true: Callable[[], Any], what: str = "") -> Any:
        end = time.monotonic() + _PATIENCE
        while time.monotonic() < end:
            if is_so := true():
                return is_so
            time.sleep(0.05)
        raise AssertionError(f"never: {what} ({self.news()})")

    def news(self) -> str:
        return str(self.js("return document.getElementById('news').textContent"))

    def press(self, selector: str) -> None:
        self.js("arguments[0].click()", self.driver.find_element("css selector", selector))

    def type(self, key: str, text: str) -> None:
        """Types into the field of a key, over what is there."""
        field = self.driver.find_element("id", f"field-{key}")
        kind = field.get_attribute("type")
        self.js("arguments[0].closest('details')?.setAttribute('open', '')", field)
        self.js("arguments[0].scrollIntoView({ block: 'center' })", field)
        if kind == "checkbox":
            if field.is_selected() != (text == "true"):
                field.click()
        elif field.tag_name == "select":
            self.js(
                "arguments[0].value = arguments[1];"
                "arguments[0].dispatchEvent(new Event('input', {bubbles: true}))",
                field,
                text,
            )
        else:
            self.js("arguments[0].focus(); arguments[0].select()", field)
            field.send_keys(text or "\ue017")  # Delete

    def saved(self, drill: str) -> dict[str, Any]:
        return tomllib.loads((self.folder / drill).read_text())


@pytest.fixture(scope="module")
def driver(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


@pytest.fixture(scope="module")
def at_the_desk(driver: Any, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Person]:
    folder = tmp_path_factory.mktemp("open")
    shutil.copy(KIT, folder)
    shutil.copy(BOSSA, folder)
    with served(folder) as address:
        yield Person(driver, folder, address)


@pytest.fixture
def person(at_the_desk: Person) -> Person:
    shutil.copy(BOSSA, at_the_desk.folder)
    sized(at_the_desk.driver, 1280, 800)
    return at_the_desk.open(BOSSA.name)


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda path: path.stem)
def test_the_lesson_of_each_example_is_made_from_nothing(
    person: Person, example: Path, tmp_path: Path
) -> None:
    from midiforge.desk.drill_file import read_drill_file

    wanted = read_drill_file(example).shown()
    person.press("#new-lesson")
    person.driver.find_element("id", "new-title").send_keys(f"Made of {example.stem}")
    person.press(".asking [type=submit]")
    name = f"Made_of_{example.stem}.toml"
    person.until("return document.getElementById('drill').value === arguments[0]", name)
    person.until(
        "return document.getElementById('field-title').value.startsWith('Made of')"
        " && document.querySelectorAll('.slot .system').length > 0"
    )
    begun = read_drill_file(STARTER).shown()
    for key in [*wanted, *(key for key in begun if key not in wanted)]:
        person.type(key, wanted.get(key, "").strip("\n"))
    made = person.folder / name
    wanted = _plain(wanted)
    person.when(lambda: _plain(read_drill_file(made).shown()) == wanted, "the file has all of it")
    for drill, folder in ((made, "made"), (example, "own")):
        midiforge.Session(drill, log=None).build(tmp_path / folder)
    files = {
        folder: {path.name: path.read_bytes() for path in (tmp_path / folder).rglob("*.mid")}
        for folder in ("made", "own")
    }
    assert len(files["own"]) > 1
    assert files["made"] == files["own"]


def _plain(shown: dict[str, str]) -> dict[str, str]:
    return {key: text.strip().replace(" = ", "=") for key, text in shown.items()}


def test_a_tap_on_a_cell_is_written_and_the_music_follows(person: Person) -> None:
    before = person.js("return document.querySelectorAll('.slot')[1].textContent")
    person.press(".cell[data-step='1'] .cell-accent")
    person.when(lambda: person.saved(BOSSA.name)["sticking"] == ">R>LL>R >LRR>L", "accented")
    person.press(".cell[data-step='2'] .cell-stroke")
    person.when(lambda: person.saved(BOSSA.name)["sticking"] == ">R>L->R >LRR>L", "a rest")
    person.until(
        "return document.querySelectorAll('.slot')[1].textContent !== arguments[0]", before
    )


def test_letters_are_typed_into_the_row_and_arrows_go_along_it(person: Person) -> None:
    person.js("document.querySelector(\".cell[data-step='4'] .cell-stroke\").focus()")
    for letter in "rl-l":
        person.driver.switch_to.active_element.send_keys(letter)
    person.when(lambda: person.saved(BOSSA.name)["sticking"] == ">RLL>R >RL->L", "typed")
    active = person.driver.switch_to.active_element
    assert active.get_attribute("class") == "cell-stroke"
    active.send_keys("\ue012")  # ArrowLeft
    assert person.driver.switch_to.active_element.text == "-"


def test_what_is_wrong_stands_beside_its_field_in_the_command_s_words(person: Person) -> None:
    before = (person.folder / BOSSA.name).read_text()
    person.type("feet", "bosa-nova")
    said = "no ostinato is called 'bosa-nova' (did you mean 'bossa-nova'?)"
    person.until("return document.getElementById('wrong-feet').textContent === arguments[0]", said)
    assert (person.folder / BOSSA.name).read_text() == before
    assert (
        person.js("return document.getElementById('field-feet').getAttribute('aria-invalid')")
        == "true"
    )
    with pytest.raises(midiforge.MidiforgeError) as raised:
        midiforge.read_drill(BOSSA, {"feet": "bosa-nova"})
    assert said in str(raised.value)
    person.type("feet", "samba")
    person.when(lambda: person.saved(BOSSA.name)["feet"] == "samba", "put right")
    person.until("return document.getElementById('wrong-feet').textContent === ''")


def test_a_wrong_field_does_not_keep_another_from_being_saved(person: Person) -> None:
    person.type("tempos", "fast")
    person.until("return document.getElementById('wrong-tempos').textContent !== ''")
    person.type("title", "Half right")
    person.when(lambda: person.saved(BOSSA.name)["title"] == "Half right", "saved")
    assert person.js("return document.getElementById('field-tempos').value") == "fast"


def test_no_letter_is_lost_while_another_field_is_wrong(person: Person) -> None:
    person.type("meter", "4")
    person.until("return document.getElementById('wrong-meter').textContent !== ''")
    for key, text in (
        ("tempos", "60, 80, 100"),
        ("stages", "hands, full"),
        ("placements", "1, 1e, 1&"),
        ("feet", "samba"),
        ("tempos", "50, 70, 90, 110"),
        ("title", "A lesson for Ida, on samba"),
    ):
        field = person.driver.find_element("id", f"field-{key}")
        person.js("arguments[0].focus(); arguments[0].select()", field)
        for letter in text:
            field.send_keys(letter)
            time.sleep(0.03)
        person.when(lambda: person.saved(BOSSA.name).get(key) == text, f"{key} is as typed")  # noqa: B023
        assert field.get_attribute("value") == text
    person.type("meter", "4/4")
    person.until("return document.getElementById('wrong-meter').textContent === ''")


def test_two_wrong_fields_are_both_told_and_a_third_is_saved(person: Person) -> None:
    person.js(
        "for (const [key, text] of arguments[0]) {"
        " const field = document.getElementById(`field-${key}`);"
        " field.value = text; field.dispatchEvent(new Event('input', {bubbles: true})); }",
        [["placements", "1 1e"], ["tempos", "60 fast"], ["title", "Third"]],
    )
    person.when(lambda: person.saved(BOSSA.name)["title"] == "Third", "the third is saved")
    for key, said in (("placements", "commas"), ("tempos", "not a tempo")):
        person.until(
            "return document.getElementById(arguments[0]).textContent.includes(arguments[1])",
            f"wrong-{key}",
            said,
        )
    assert "Where the sticking starts, Tempos" in person.news()


def test_undo_takes_back_what_could_not_be_saved(person: Person) -> None:
    before = person.js("return document.getElementById('field-tempos').value")
    person.type("tempos", "fast")
    person.until("return document.getElementById('wrong-tempos').textContent !== ''")
    assert person.js("return document.querySelector('.undo').disabled") is False
    person.press(".undo")
    person.until("return document.getElementById('wrong-tempos').textContent === ''")
    assert person.js("return document.getElementById('field-tempos').value") == before


def test_undo_and_redo_go_through_what_was_done(person: Person) -> None:
    original = (person.folder / BOSSA.name).read_text()
    person.type("feet", "samba")
    person.when(lambda: person.saved(BOSSA.name)["feet"] == "samba", "changed")
    changed = (person.folder / BOSSA.name).read_text()
    while (person.folder / BOSSA.name).read_text() != original:
        person.until("return !document.querySelector('.undo').disabled")
        before = (person.folder / BOSSA.name).read_text()
        person.press(".undo")
        person.when(lambda b=before: (person.folder / BOSSA.name).read_text() != b, "undone")
    while (person.folder / BOSSA.name).read_text() != changed:
        person.until("return !document.querySelector('.redo').disabled")
        before = (person.folder / BOSSA.name).read_text()
        person.press(".redo")
        person.when(lambda b=before: (person.folder / BOSSA.name).read_text() != b, "redone")
    person.until("return document.getElementById('field-feet').value === 'samba'")


def test_what_is_typed_with_pauses_before_its_field_is_left_is_one_step_back(
    person: Person,
) -> None:
    before = (person.folder / BOSSA.name).read_text()
    person.type("placements", "1")
    person.when(lambda: person.saved(BOSSA.name)["placements"] == "1", "a lesson on the way")
    time.sleep(2)
    person.driver.find_element("id", "field-placements").send_keys(", 1e")
    person.when(lambda: person.saved(BOSSA.name)["placements"] == "1, 1e", "the rest")
    person.press(".undo")
    person.when(lambda: (person.folder / BOSSA.name).read_text() == before, "undone")


def test_a_field_that_was_left_and_typed_in_again_is_two_steps_back(person: Person) -> None:
    for title in ("First", "Second"):
        person.type("title", title)
        person.when(lambda t=title: person.saved(BOSSA.name)["title"] == t, title)
        person.js("document.activeElement.blur()")
    person.press(".undo")
    person.when(lambda: person.saved(BOSSA.name)["title"] == "First", "undone")


def test_two_taps_are_two_steps_back(person: Person) -> None:
    taps = {"bar": "… of the bar", "phrase": "… of the phrase"}
    for value, text in taps.items():
        person.js(
            "[...document.querySelectorAll('.choice')]"
            ".find(c => c.textContent === arguments[0]).click()",
            text,
        )
        person.when(lambda v=value: person.saved(BOSSA.name)["placements"] == v, value)
    person.press(".undo")
    person.when(lambda: person.saved(BOSSA.name)["placements"] == "bar", "undone")


def test_what_is_still_being_saved_is_undone_as_well(person: Person) -> None:
    before = person.saved(BOSSA.name)["title"]
    for number in range(6):
        person.js(
            "const field = document.getElementById('field-title'); field.focus();"
            "field.value = arguments[0]; field.dispatchEvent(new Event('input', {bubbles: true}));"
            "field.blur(); document.querySelector('.undo').disabled = false;"
            "document.querySelector('.undo').click();",
            f"Soon gone {number}",
        )
        person.until("return document.getElementById('field-title').value === arguments[0]", before)
        time.sleep(0.3)
        assert person.saved(BOSSA.name)["title"] == before


def test_a_page_that_is_loaded_again_can_still_be_undone(person: Person) -> None:
    before = (person.folder / BOSSA.name).read_text()
    person.type("title", "Before the page was loaded again")
    person.when(lambda: "loaded" in person.saved(BOSSA.name)["title"], "typed")
    person.until("return !document.querySelector('.undo').disabled")
    person.open(BOSSA.name)
    person.press(".undo")
    person.when(lambda: (person.folder / BOSSA.name).read_text() == before, "undone")


def test_what_an_editor_wrote_while_the_page_was_closed_is_not_undone(person: Person) -> None:
    person.type("title", "Before the page was closed")
    person.when(lambda: "closed" in person.saved(BOSSA.name)["title"], "typed")
    shutil.copy(BOSSA, person.folder)
    person.open(BOSSA.name)
    assert person.js("return document.querySelector('.undo').disabled") is True


def test_a_file_that_an_editor_changed_meanwhile_is_not_overwritten(person: Person) -> None:
    path = person.folder / BOSSA.name
    path.write_text(path.read_text().replace("bossa-nova", "baiao"))
    person.type("title", "From the page")
    person.until("return document.getElementById('field-feet').value === 'baiao'")
    person.when(lambda: "changed elsewhere" in person.news(), "it says so")
    person.when(lambda: person.saved(BOSSA.name)["title"] == "From the page", "both are kept")
    assert person.saved(BOSSA.name)["feet"] == "baiao"


def test_a_whole_text_that_met_another_s_change_is_a_step_back(person: Person) -> None:
    path = person.folder / BOSSA.name
    mine, theirs = (
        path.read_text().replace("Slack water bossa", title) for title in ("Mine", "Theirs")
    )
    path.write_text(theirs)
    person.js(
        "const area = document.getElementById('whole-text'); area.value = arguments[0];"
        "area.dispatchEvent(new Event('change'))",
        mine,
    )
    person.until("return document.getElementById('field-title').value === 'Theirs'")
    assert path.read_text() == theirs
    person.press(".undo")
    person.when(lambda: path.read_text() == mine, "what was written is back")
    person.until("return !document.querySelector('.redo').disabled")
    person.press(".redo")
    person.when(lambda: path.read_text() == theirs, "and theirs a step on")


def test_a_row_that_met_another_s_change_is_written_into_that(person: Person) -> None:
    path = person.folder / BOSSA.name
    path.write_text(path.read_text().replace("Slack water bossa", "Theirs"))
    person.press(".cell[data-step='1'] .cell-accent")
    person.when(lambda: person.saved(BOSSA.name)["sticking"] == ">R>LL>R >LRR>L", "accented")
    assert person.saved(BOSSA.name)["title"] == "Theirs"


def test_a_file_with_a_fault_is_shown_as_text_and_can_be_put_right(person: Person) -> None:
    path = person.folder / BOSSA.name
    path.write_text(path.read_text().replace('"beat"', '"beet"'))
    person.driver.get("about:blank")
    person.driver.get(f"{person.address}#drill={BOSSA.name}")
    person.until("return document.getElementById('whole-text')?.value.includes('beet')")
    person.until("return document.getElementById('wrong-placements').textContent !== ''")
    person.type("placements", "beat")
    person.until("return document.querySelectorAll('.slot .system').length > 0")
    assert person.saved(BOSSA.name)["placements"] == "beat"


def test_the_page_says_when_its_server_is_gone_and_nothing_is_lost(
    driver: Any, tmp_path: Path
) -> None:
    shutil.copy(BOSSA, tmp_path)
    with server(tmp_path) as (address, process):
        person = Person(driver, tmp_path, address).open(BOSSA.name)
        process.kill()
        process.wait()
        person.type("title", "Nobody hears this")
        person.when(lambda: "has been ended" in person.news(), "it says so")
        assert person.js("return document.getElementById('field-title').value").startswith("Nobody")
        assert (tmp_path / BOSSA.name).read_text() == BOSSA.read_text()


# Bossa's neighbour, that a person turns to while what was typed is still under way.
OTHER = 'title = "Other shore"\nsticking = "RLRL"\nfeet = "samba"\n'


def test_what_is_typed_right_before_another_lesson_is_chosen_is_kept_and_stays_out_of_that(
    driver: Any, tmp_path: Path
) -> None:
    shutil.copy(BOSSA, tmp_path)
    (tmp_path / "other.toml").write_text(OTHER)
    with server(tmp_path) as (address, process):
        person = Person(driver, tmp_path, address).open(BOSSA.name)
        process.send_signal(signal.SIGSTOP)
        try:
            person.type("title", "Typed in a hurry")  # one letter is under way, others wait
            person.js(
                "const chooser = document.getElementById('drill');"
                "chooser.value = 'other.toml';"
                "chooser.dispatchEvent(new Event('change', { bubbles: true }))"
            )
            time.sleep(0.5)
        finally:
            process.send_signal(signal.SIGCONT)
        person.until("return document.getElementById('field-title').value === 'Other shore'")
        assert person.saved(BOSSA.name)["title"] == "Typed in a hurry"
        assert person.js("return document.querySelector('.undo').disabled") is True
        person.type("title", "The other one")
        person.when(lambda: person.saved("other.toml")["title"] == "The other one", "typed there")
        person.press(".undo")
        person.when(lambda: (tmp_path / "other.toml").read_text() == OTHER, "undone")
        assert "elsewhere" not in person.news()


def test_of_two_lessons_chosen_one_after_the_other_the_second_is_shown(
    driver: Any, tmp_path: Path
) -> None:
    shutil.copy(BOSSA, tmp_path)
    (tmp_path / "other.toml").write_text(OTHER)
    choose = "location.hash = `drill=${arguments[0]}`"
    with served(tmp_path) as address:
        person = Person(driver, tmp_path, address).open("other.toml")
        person.js(  # what is asked first is answered last
            "const ask = window.fetch; window.fetch = async (path, init) => {"
            "  const answer = await ask(path, init);"
            "  if (`${path}`.includes('bossa')) await new Promise((go) => setTimeout(go, 1500));"
            "  return answer; }"
        )
        person.js(choose, BOSSA.name)
        time.sleep(0.3)
        person.js(choose, "other.toml")
        time.sleep(2.5)
        assert person.js("return document.getElementById('field-title').value") == "Other shore"
        assert person.js("return document.getElementById('drill').value") == "other.toml"


def test_a_page_asks_before_it_is_left_while_what_was_typed_is_in_no_file(
    driver: Any, tmp_path: Path
) -> None:
    shutil.copy(BOSSA, tmp_path)
    asks = (
        "const leaving = new Event('beforeunload', { cancelable: true });"
        "return !window.dispatchEvent(leaving)"
    )
    with server(tmp_path) as (address, process):
        person = Person(driver, tmp_path, address).open(BOSSA.name)
        assert person.js(asks) is False
        process.send_signal(signal.SIGSTOP)
        try:
            person.type("title", "Not there yet")
            assert person.js(asks) is True
        finally:
            process.send_signal(signal.SIGCONT)
        person.when(lambda: person.saved(BOSSA.name)["title"] == "Not there yet", "typed")
        person.when(lambda: person.js(asks) is False, "nothing is left to be asked")


def test_a_folder_without_a_drill_begins_with_a_lesson_to_be_changed(
    driver: Any, tmp_path: Path
) -> None:
    with served(tmp_path) as address:
        person = Person(driver, tmp_path, address).open()
        assert person.js("return document.querySelectorAll('.cell').length") > 0
        assert midiforge.read_drill(tmp_path / "First_lesson.toml").title == "First lesson"


def test_what_plays_in_the_browser_and_is_changed_stops_and_says_so(person: Person) -> None:
    person.press(".slot .player-play")
    person.js("document.querySelector('.first-play')?.click()")
    person.until("return document.querySelector('.slot .playing') !== null")
    person.press(".cell[data-step='1'] .cell-accent")
    person.until("return document.querySelector('.slot .playing') === null")
    person.when(lambda: "so it has stopped" in person.news(), "it says so")


def test_foot_patterns_are_seen_and_heard_before_one_is_taken(person: Person) -> None:
    person.press(".feet summary")
    first = ".feet-list li:not([hidden])"
    person.until(f"return document.querySelector('{first} .system') !== null")
    person.press(f"{first} .player-play")
    person.js("document.querySelector('.first-play')?.click()")
    person.until("return document.querySelector('.feet-list .playing') !== null")
    name = person.js(f"return document.querySelector('{first}').dataset.name")
    person.press(f"{first} .choice")
    person.when(lambda: person.saved(BOSSA.name)["feet"] == name, "taken")


@pytest.fixture(params=["write", "hand-out", "practise", "look-back", "kit"])
def in_view(request: pytest.FixtureRequest, person: Person) -> Person:
    """The person, who has turned to one of the views."""
    person.js(
        "document.querySelector(`#views a[data-view='${arguments[0]}']`).click()", request.param
    )
    person.until(f"return document.querySelector('.view.{request.param}:not([hidden])') !== null")
    time.sleep(0.3)
    return person


def test_only_the_view_that_is_turned_to_is_in_sight(in_view: Person) -> None:
    in_sight = "return [...document.querySelectorAll('.view')].filter(v => v.offsetHeight).length"
    assert in_view.js(in_sight) == 1


@pytest.mark.parametrize("width", [1280, 820, 360])
def test_it_fits_every_screen(in_view: Person, width: int) -> None:
    sized(in_view.driver, width, 800)
    wide = in_view.js("return document.documentElement.scrollWidth")
    assert wide <= width, in_view.js(
        "return [...document.querySelectorAll('body *')].filter(e => e.offsetWidth"
        f" && e.getBoundingClientRect().right > {width + 1}).map(e => e.className || e.tagName)"
    )[:9]


def test_the_head_of_the_page_leaves_a_telephone_most_of_its_screen(in_view: Person) -> None:
    sized(in_view.driver, 360, 740)
    assert in_view.js("return document.querySelector('.top').offsetHeight") < 740 / 6


@pytest.mark.parametrize(("width", "height"), [(1280, 800), (360, 740)])
@pytest.mark.parametrize(
    ("view", "act"), [("hand-out", "[type=submit]"), ("practise", ".practise-start")]
)
def test_what_a_view_is_for_is_on_the_first_screen(
    person: Person, view: str, act: str, width: int, height: int
) -> None:
    sized(person.driver, width, height)
    person.js("document.querySelector(`#views a[data-view='${arguments[0]}']`).click()", view)
    person.until(f"return document.querySelector('.view.{view} {act}') !== null")
    person.until(
        f"return document.querySelector('.view.{view} {act}').getBoundingClientRect().bottom"
        " <= innerHeight"
    )


def test_lessons_are_called_by_their_titles(person: Person) -> None:
    said = "return [...document.querySelectorAll('#drill option')].map(o => [o.value, o.text])"
    path = person.folder / BOSSA.name
    path.write_text(path.read_text().replace("Slack water bossa", "Spring tide bossa"))
    person.open(BOSSA.name)
    assert [BOSSA.name, "Spring tide bossa"] in person.js(said)
    person.type("title", "High water bossa")
    person.when(lambda: [BOSSA.name, "High water bossa"] in person.js(said), "by the new one")
    person.press("#views a[data-view='practise']")
    person.until(
        "return document.querySelector('.practise-form fieldset')"
        ".textContent.includes('High water bossa')"
    )


def test_by_keys_alone_the_music_is_a_step_away_and_undo_stays_in_sight(person: Person) -> None:
    person.js("document.querySelector('#views a:last-child').focus()")
    person.driver.switch_to.active_element.send_keys("\ue004")  # Tab
    active = person.driver.switch_to.active_element
    assert active.text == "To the music"
    assert active.rect["width"] > 80
    active.send_keys("\ue007")  # Enter
    person.until("return document.activeElement.matches('.sheet-side')")
    person.js("scrollTo(0, document.documentElement.scrollHeight)")
    person.until("return document.querySelector('.undo').getBoundingClientRect().top > 0")


def test_a_new_lesson_can_begin_as_a_copy_and_is_what_is_opened_again(person: Person) -> None:
    person.press("#views a[data-view='look-back']")
    person.press("#new-lesson")
    person.driver.find_element("id", "new-title").send_keys("Ebb")
    person.js("document.getElementById('new-like').selectedIndex = 1")
    person.press(".asking [type=submit]")
    person.until("return document.getElementById('drill').value === 'Ebb.toml'")
    person.until("return document.querySelector('.view.write').offsetParent !== null")
    made, like = person.saved("Ebb.toml"), person.saved(BOSSA.name)
    assert made == {**like, "title": "Ebb"}
    person.driver.get(person.address)
    person.until("return document.getElementById('drill')?.value === 'Ebb.toml'")


def test_a_new_lesson_that_is_begun_by_a_double_click_is_one(driver: Any, tmp_path: Path) -> None:
    shutil.copy(BOSSA, tmp_path)
    with served(tmp_path) as address:
        person = Person(driver, tmp_path, address).open(BOSSA.name)
        person.js("document.getElementById('new-lesson').click()")
        begin = "const form = document.querySelector('dialog form');"
        person.js(f"{begin} form.requestSubmit()")  # without a title nothing is begun
        person.js(
            f"{begin} document.getElementById('new-title').value = 'Twice';"
            "form.requestSubmit(); form.requestSubmit()"
        )
        person.until("return document.getElementById('field-title').value === 'Twice'")
        time.sleep(0.5)
        assert {path.name for path in tmp_path.glob("*.toml")} == {BOSSA.name, "Twice.toml"}


def test_lessons_of_one_title_are_told_apart_by_their_files(tmp_path: Path) -> None:
    for name in ("one.toml", "two.toml"):
        (tmp_path / name).write_text('title = "Twins"\nsticking = "RL"\n')
    (tmp_path / "three.toml").write_text("sticking = ")
    with served(tmp_path) as address:
        assert ask(address, "api/drills")["titles"] == {
            "one.toml": "Twins (one)",
            "three.toml": "three",
            "two.toml": "Twins (two)",
        }


def test_a_session_that_cannot_be_started_says_why(person: Person) -> None:
    person.press("#views a[data-view='practise']")
    why = "return document.getElementById('practise-why').textContent"
    person.until("return document.querySelector('.practise-form fieldset input') !== null")
    person.press(".practise-form fieldset :checked")
    person.until(f"{why} !== ''")
    start = person.driver.find_element("css selector", ".practise-start")
    assert not start.is_enabled()
    assert start.get_attribute("aria-describedby") == "practise-why"


def test_axe_core_has_nothing_to_say(in_view: Person) -> None:
    if not _AXE.is_file():
        pytest.skip("pages are checked by axe-core: npm install --prefix .ci")
    in_view.js(
        "for (const fold of document.querySelectorAll('.view:not([hidden]) details'))"
        " fold.open = true"
    )
    in_view.js(_AXE.read_text("utf-8"))
    for width in (1280, 360):
        sized(in_view.driver, width, 900)
        found = in_view.driver.execute_async_script(
            "const done = arguments[0];"
            "axe.run(document, { resultTypes: ['violations'] }).then(({ violations }) => done("
            "violations.map(({ id, nodes }) => [id, nodes.slice(0, 3).map((n) => n.html)])))"
        )
        assert found == [], width
