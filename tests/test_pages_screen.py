"""The booklet on a screen, as something one practises from, in a real browser."""

import json
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from browser import chromium, page_of, press_play, sized

import midiforge

EXAMPLES = sorted((Path(__file__).parent.parent / "examples").glob("0*.toml"))
SPACE, RIGHT, LEFT, ESCAPE = " ", "\ue014", "\ue012", "\ue00c"  # keys, as WebDriver has them
LONG = "Count aloud before you play, and go on counting. " * 30


def _html(folder: Path, drill: midiforge.Drill, text: str = "", counts: bool = False) -> Path:
    return page_of(folder, drill, counts, text=text)


@pytest.fixture(scope="module")
def running(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("chromium"))


@pytest.fixture
def browser(running: Any, tmp_path: Path) -> Iterator[Any]:
    """With nothing kept from another test, whose page was a file too."""
    sized(running, 1280, 900)
    empty = tmp_path / "empty.html"
    empty.write_text("<!DOCTYPE html><title>Empty</title>", "utf-8")
    running.get(empty.as_uri())
    running.execute_script("localStorage.clear()")
    yield running
    running.get(empty.as_uri())  # so that nothing plays on


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_the_first_exercise_and_its_button_are_on_a_telephones_first_screen(
    browser: Any, tmp_path: Path, path: Path
) -> None:
    sized(browser, 390, 844)
    browser.get(_html(tmp_path, midiforge.read_drill(str(path)), LONG).as_uri())
    for selector in (".player-play", "svg.system"):
        bottom = browser.execute_script(
            "return document.querySelector(arguments[0]).getBoundingClientRect().bottom", selector
        )
        assert bottom <= 844, selector


_SEEN = "return document.querySelector(arguments[0]).checkVisibility({visibilityProperty: true})"


@pytest.mark.parametrize("folded", [".order tbody td", ".key .legend", ".care li"])
def test_what_is_folded_is_one_tap_away_and_open_on_paper(
    browser: Any, tmp_path: Path, folded: str
) -> None:
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
    assert not browser.execute_script(_SEEN, folded)
    browser.find_element("css selector", f"{folded.split()[0]} summary").click()
    assert browser.execute_script(_SEEN, folded)
    browser.refresh()
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    try:
        assert browser.execute_script(_SEEN, folded)
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


def test_the_cautions_are_shown_before_the_first_play_and_then_no_more(
    browser: Any, tmp_path: Path
) -> None:
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
    playing = "return lessonPlayer.playing"
    browser.find_element("css selector", "#n1 .player-play").click()
    assert browser.execute_script(playing) is None
    dialog = browser.find_element("css selector", "dialog")
    assert "Stop when it hurts" in dialog.text
    dialog.find_element("css selector", "button").click()
    assert browser.execute_script(playing) == "n1"
    browser.refresh()
    browser.find_element("css selector", "#n2 .player-play").click()
    assert browser.execute_script(playing) == "n2"


def test_who_does_not_read_the_cautions_to_the_end_hears_nothing(
    browser: Any, tmp_path: Path
) -> None:
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
    browser.find_element("css selector", "#n1 .player-play").click()
    browser.switch_to.active_element.send_keys(ESCAPE)
    assert not browser.find_elements("css selector", "dialog")
    assert browser.execute_script("return lessonPlayer.playing") is None
    press_play(browser, "n1")
    assert browser.execute_script("return lessonPlayer.playing") == "n1"


def _open(browser: Any, path: Path) -> None:
    """A page whose cautions have been read."""
    browser.get(path.as_uri())
    press_play(browser, "n1")
    press_play(browser, "n1")


def _drill(**keys: Any) -> midiforge.Drill:
    """Of three exercises: feet alone, hands alone, all."""
    told = {"title": "Mooring", "sticking": "RLRR LRLL", "feet": "1 3", "tempos": [120, 180]}
    return midiforge.check_drill({**told, "placements": ["1"], **keys})


def _until(fact: Callable[[], bool], seconds: float = 8.0) -> None:
    end = time.monotonic() + seconds
    while not fact():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.02)


def _playing(browser: Any) -> str | None:
    return browser.execute_script("return lessonPlayer.playing")  # type: ignore[no-any-return]


def _type(browser: Any, key: str) -> None:
    browser.switch_to.active_element.send_keys(key)


def test_space_plays_and_stops_and_arrows_go_from_exercise_to_exercise(
    browser: Any, tmp_path: Path
) -> None:
    _open(browser, _html(tmp_path, _drill()))
    _type(browser, SPACE)
    assert _playing(browser) == "n1"
    _type(browser, RIGHT)
    assert _playing(browser) == "n2"
    _type(browser, SPACE)
    assert _playing(browser) is None
    _type(browser, RIGHT)  # goes on, and plays nothing
    assert _playing(browser) is None
    focused = "return document.activeElement.closest('.exercise').id"
    assert browser.execute_script(focused) == "n3"
    _type(browser, LEFT)
    assert browser.execute_script(focused) == "n2"


def test_a_button_that_was_clicked_leaves_the_space_bar_to_the_music(
    browser: Any, tmp_path: Path
) -> None:
    _open(browser, _html(tmp_path, _drill()))
    browser.find_elements("css selector", "#n1 .player-choice")[1].click()
    _type(browser, SPACE)
    assert _playing(browser) == "n1"
    assert browser.execute_script("return lessonPlayer.tempo") == 180
    number = browser.find_element("css selector", "#n1 .player-tempo")
    number.click()
    number.send_keys(SPACE)  # typed into it
    assert _playing(browser) == "n1"


def test_the_buttons_beside_play_go_on_to_the_next_and_back(browser: Any, tmp_path: Path) -> None:
    _open(browser, _html(tmp_path, _drill(placements=["1", "1&"])))
    sections = browser.find_elements("css selector", ".exercise")
    assert [each.get_attribute("id") for each in sections] == ["n1", "n2", "n4", "n3", "n5"]
    ways = [
        [
            each.is_enabled()
            for each in browser.find_elements("css selector", f"#{name} .player-way")
        ]
        for name in ("n1", "n2", "n5")
    ]
    assert ways == [[False, True], [True, True], [True, False]]
    press_play(browser, "n1")
    for name, following in (("n1", "n2"), ("n2", "n3")):  # by the numbers, not by the page
        _, on = browser.find_elements("css selector", f"#{name} .player-way")
        browser.execute_script("arguments[0].click()", on)
        assert _playing(browser) == following


def test_the_screen_is_asked_to_stay_awake_while_it_plays(browser: Any, tmp_path: Path) -> None:
    _open(browser, _html(tmp_path, _drill()))
    browser.execute_script(
        "window.held = 0; navigator.wakeLock.request = async () => {"
        "held++; return { release: async () => { held--; } }; };"
    )
    press_play(browser, "n1")
    _until(lambda: browser.execute_script("return held") == 1)
    press_play(browser, "n1")
    _until(lambda: browser.execute_script("return held") == 0)


# What one place of the page says, frame by frame, without saying it twice.
_WATCH = """
window.seen = [];
const watch = (what) => {
  const now = [...document.querySelectorAll(what)].map((each) => each.textContent).join(" ").trim();
  if (now && now !== window.before) seen.push(now);
  window.before = now;
  requestAnimationFrame(() => watch(what));
};
watch(arguments[0]);
"""


def test_the_count_is_shown_large_until_the_music_begins(browser: Any, tmp_path: Path) -> None:
    _open(browser, _html(tmp_path, _drill(count_in=2, meter="3/4", feet="1")))
    browser.execute_script(_WATCH, ".player-count")
    press_play(browser, "n2")
    _until(lambda: bool(browser.find_element("css selector", "#n2 .player-count").text))
    size = (
        "return parseFloat(getComputedStyle(document.querySelector('#n2 .player-count')).fontSize)"
    )
    assert browser.execute_script(size) >= 64  # CSS pixels: to be read from a drum stool
    assert not browser.execute_script(_SEEN, ".step")  # no step sounds yet
    _until(lambda: browser.execute_script("return !!document.querySelector('.lit')"))
    assert browser.execute_script("return seen") == ["1", "2", "3", "1", "2", "3"]
    assert browser.find_element("css selector", "#n2 .player-count").text == ""
    assert browser.execute_script(_SEEN, ".step")
    press_play(browser, "n2")
    press_play(browser, "n2")
    assert not browser.execute_script(_SEEN, ".step")


def test_a_steps_letters_and_count_are_lit_while_it_sounds(browser: Any, tmp_path: Path) -> None:
    _open(browser, _html(tmp_path, _drill(tempos=[30]), counts=True))
    browser.execute_script(_WATCH, ".lit")
    browser.execute_script("document.querySelector('#n2 .player-countIn').click()")
    press_play(browser, "n2")
    _until(lambda: len(browser.execute_script("return seen")) > 8, 15)
    assert browser.execute_script("return seen")[:8] == [
        *("R 1", "L e", "R &", "R a", "L 2", "R e", "L &", "L a"),
    ]
    # Not by colour alone: a band lies over the step, underlined, and nothing else is within it.
    step, names, others = browser.execute_script(
        "const box = (each) => each.getBoundingClientRect();"
        "const lit = [...document.querySelectorAll('.lit')];"
        "const texts = [...document.querySelectorAll('#n2 .system .hand, #n2 .system .count')];"
        "return [box(document.querySelector('.step')), lit.map(box),"
        " texts.filter((each) => !lit.includes(each)).map(box)]"
    )
    assert all(step["left"] < each["left"] and each["right"] < step["right"] for each in names)
    middles = [(each["left"] + each["right"]) / 2 for each in others]
    assert not any(step["left"] < middle < step["right"] for middle in middles)
    press_play(browser, "n2")
    assert not browser.find_elements("css selector", ".lit")


def test_on_a_telephone_every_exercise_in_the_practice_order_can_be_tapped(
    browser: Any, tmp_path: Path
) -> None:
    """44 CSS pixels: WCAG 2.2, 2.5.5 Target Size (Enhanced)."""
    sized(browser, 390, 844)
    _open(browser, _html(tmp_path, _drill(placements="1, 1e, 1&", stages="hands")))
    browser.find_element("css selector", ".order summary").click()
    _, *ways = browser.find_elements("css selector", ".order td a")
    assert [way.text for way in ways] == ["from 1", "1e", "1&"]
    for way in ways:
        assert min(way.size["width"], way.size["height"]) >= 44


def test_a_screen_reader_hears_no_plus_before_what_is_folded(browser: Any, tmp_path: Path) -> None:
    _open(browser, _html(tmp_path, _drill()))
    for name in ("order", "key", "care"):
        summary = browser.find_element("css selector", f".{name} summary")
        assert summary.accessible_name == summary.text


def test_what_a_sign_means_stands_beside_it(browser: Any, tmp_path: Path) -> None:
    sized(browser, 390, 844)
    _open(browser, _html(tmp_path, _drill(repeats=4)))
    browser.find_element("css selector", ".key summary").click()
    for sign in browser.find_elements("css selector", ".legend div"):
        beside = browser.execute_script(
            "const [dt, dd] = arguments[0].children, range = document.createRange();"
            "range.selectNodeContents(dt);"
            "return dd.getBoundingClientRect().left - range.getBoundingClientRect().right",
            sign,
        )
        assert beside > 4, sign.text


_SAVED = """
const done = arguments[0];
URL.createObjectURL = (file) => (file.text().then(done), "#");
document.querySelector(".save").click();
"""


def test_what_was_reached_is_kept_and_can_be_sent(browser: Any, tmp_path: Path) -> None:
    path = _html(tmp_path, _drill())
    _open(browser, path)
    today = browser.execute_script("return new Date().toLocaleDateString('sv')")  # 2026-05-31
    browser.find_elements("css selector", "#n2 .player-choice")[1].click()
    reached = browser.find_element("css selector", "#n2 .player-reached")
    assert reached.text == "Reached 180"
    reached.click()
    browser.refresh()
    assert f"reached 180 on {today}" in browser.find_element("css selector", "#n2 .reached").text
    assert "reached" not in browser.find_element("css selector", "#n1 .reached").text
    browser.find_element("css selector", ".order summary").click()
    mark = browser.find_element("css selector", ".order a[href='#n2'] + .order-reached")
    assert mark.text.split() == ["\u2713", "180"]
    saved = json.loads(browser.execute_async_script(_SAVED))
    title = browser.execute_script("return document.querySelector('#n2 h2, #n2 h3').innerText")
    entry = {"exercise": "2b", "title": title.split(maxsplit=1)[1], "tempo": 180, "day": today}
    assert saved == {"drill": "Mooring", "saved": today, "reached": [entry]}


def test_reached_can_be_taken_back(browser: Any, tmp_path: Path) -> None:
    _open(browser, _html(tmp_path, _drill()))
    reached = browser.find_element("css selector", "#n1 .player-reached")
    for pressed in ("true", "false"):
        reached.click()
        assert reached.get_attribute("aria-pressed") == pressed
    assert json.loads(browser.execute_async_script(_SAVED))["reached"] == []


def test_what_was_reached_is_of_the_same_drill_and_the_same_exercise(
    browser: Any, tmp_path: Path
) -> None:
    _open(browser, _html(tmp_path, _drill()))
    browser.find_element("css selector", "#n2 .player-reached").click()
    for name, keys in {"other": {"title": "Casting off"}, "later": {"sticking": "RRLL"}}.items():
        (tmp_path / name).mkdir()
        browser.get(_html(tmp_path / name, _drill(**keys)).as_uri())
        assert not browser.find_elements("css selector", ".is-reached")


def test_a_browser_that_keeps_nothing_says_so_and_plays(browser: Any, tmp_path: Path) -> None:
    script = "Object.defineProperty(window, 'localStorage', {get() { throw new Error('none'); }})"
    command = "Page.addScriptToEvaluateOnNewDocument"
    added = browser.execute_cdp_cmd(command, {"source": script})
    try:
        _open(browser, _html(tmp_path, _drill()))
        browser.find_element("css selector", ".order summary").click()
        assert "keeps nothing" in browser.find_element("css selector", ".saving").text
        browser.find_element("css selector", "#n1 .player-reached").click()
        assert len(json.loads(browser.execute_async_script(_SAVED))["reached"]) == 1
    finally:
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", added)


# Of each piece: whether it begins a line, where its first column stands behind the clef's room, how
# large it is drawn, and which piece lies on top where its clef is hung out.
_LINES = """
return [...document.querySelectorAll(".music")].map((music) => {
  music.scrollIntoView({ behavior: "instant", block: "start" });
  const systems = [...music.querySelectorAll("svg.system")];
  let bottom = NaN;
  return systems.map((svg) => {
    const box = svg.getBoundingClientRect();
    const begins = Math.abs(box.bottom - bottom) > 2 || bottom !== bottom;
    bottom = box.bottom;
    const [clef] = svg.querySelectorAll("g.clef use");
    const at = clef?.getBoundingClientRect();
    const on = at && document.elementFromPoint((at.left + at.right) / 2, (at.top + at.bottom) / 2);
    const over = on?.closest("svg");
    const scale = svg.getScreenCTM().a;
    const hangs = svg === systems[0] ? music.getBoundingClientRect().left : box.left;
    return {
      begins, scale, left: svg === systems[0] ? null : hangs,
      hidden: !!over && over !== svg, clef: !!clef, width: box.width,
    };
  });
});
"""


@pytest.mark.parametrize("width", [360, 390, 820, 1280])
@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.stem)
def test_lines_begin_below_each_other_each_with_its_clef_and_at_one_size(
    browser: Any, tmp_path: Path, path: Path, width: int
) -> None:
    sized(browser, width, 1200)  # what is out of sight lies on nothing
    browser.get(_html(tmp_path, midiforge.read_drill(str(path))).as_uri())
    for pieces in browser.execute_script(_LINES):
        first, *others = pieces
        assert first["begins"] and not first["clef"]  # which is written out there, with the meter
        scales = [each["scale"] for each in others]
        assert scales == pytest.approx([first["scale"]] * len(others), rel=0.003)
        lefts = {round(each["left"]) for each in others if each["begins"]}
        assert len(lefts) <= 1
        for each in others:
            assert each["clef"]
            assert each["hidden"] != each["begins"]


def test_bars_below_each_other_have_their_beats_below_each_other_on_a_telephone(
    browser: Any, tmp_path: Path
) -> None:
    sized(browser, 390, 844)
    drill = _drill(sticking="RLRLL", steps=3, stages="hands", feet=None)  # begins anew in each bar
    browser.get(_html(tmp_path, drill).as_uri())
    rows: dict[int, list[float]] = {}
    for left, bottom in browser.execute_script(
        "return [...document.querySelectorAll('text.hand')].map((t) => {"
        "const b = t.getBoundingClientRect(); return [(b.left + b.right) / 2, b.bottom]; })"
    ):
        rows.setdefault(round(bottom), []).append(left)
    first, *others = rows.values()
    assert len(others) == 4  # five bars, each a line
    for row in others:
        assert row == pytest.approx(first, abs=0.6)


@pytest.mark.parametrize("width", [390, 1280])
def test_a_bar_with_the_strokes_of_the_one_before_is_a_sign_on_a_screen_too(
    browser: Any, tmp_path: Path, width: int
) -> None:
    sized(browser, width, 844)
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[6]))).as_uri())
    music = browser.find_element("css selector", "#n3 .music")
    assert len(music.find_elements("css selector", "use[href='#gE500']")) == 7  # of eight bars
    assert music.size["height"] < 844


def test_a_screen_reader_hears_every_stroke_with_its_count(tmp_path: Path) -> None:
    pytest.importorskip("verovio")
    keys = {"sticking": ">R(L)lRRz", "steps": 2, "voicing": "RH=ride,LH=snare", "feet": "1 2&"}
    page = _html(tmp_path, _drill(**keys)).read_text("utf-8")
    feet, _, whole = re.findall(r'aria-label="(bar 1[^"]*)"', page)
    assert feet.startswith("bar 1. 1: right foot bass drum; 2&amp;: right foot")
    assert whole.startswith(
        "bar 1. 1: right ride cymbal, accent, with right foot bass drum; "
        "1&amp;: left snare drum, ghost note; 2: right, flam; "
        "2&amp;: right, buzz, with right foot; 3: right, accent; "
    )


def test_what_else_stands_in_a_bar_is_heard_too(tmp_path: Path) -> None:
    pytest.importorskip("verovio")
    page = _html(tmp_path, midiforge.read_drill(str(EXAMPLES[6]))).read_text("utf-8")
    assert 'aria-label="bar 4, A13. as the bar before"' in page


_AXE = Path(__file__).parent.parent / ".ci" / "node_modules" / "axe-core" / "axe.min.js"
_CHECKED = """
const done = arguments[arguments.length - 1];
const told = ({ id, nodes }) => [id, nodes.slice(0, 3).map(({ html }) => html.slice(0, 200))];
axe.run(document, { resultTypes: ["violations"] }).then(({ violations }) => done(
  violations.map(told)));
"""


@pytest.mark.parametrize("colours", ["light", "dark"])
@pytest.mark.parametrize("width", [390, 1280])
def test_axe_core_has_nothing_to_say_of_the_page(
    browser: Any, tmp_path: Path, width: int, colours: str
) -> None:
    if not _AXE.exists():
        pytest.skip("pages are checked by axe-core: npm install --prefix .ci")
    sized(browser, width, 844)
    media = {"features": [{"name": "prefers-color-scheme", "value": colours}]}
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", media)
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0])), LONG, True).as_uri())
    browser.execute_script(_AXE.read_text("utf-8"))
    try:
        assert browser.execute_async_script(_CHECKED) == []
        browser.find_element("css selector", "#n1 .player-play").click()  # the cautions
        assert browser.execute_async_script(_CHECKED) == []
        browser.find_element("css selector", ".first-play").click()
        browser.execute_script(
            "for (const fold of document.querySelectorAll('details')) fold.open = true;"
            "document.querySelector('.player-more').click();"
            "document.querySelector('.player-reached').click();"
            "document.querySelector('.player-strokes').click();"
        )
        _until(lambda: bool(browser.find_elements("css selector", ".lit")), 20)
        assert browser.execute_async_script(_CHECKED) == []
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})


@pytest.mark.parametrize("width", [390, 1280])
def test_what_is_pressed_is_as_large_as_a_finger(browser: Any, tmp_path: Path, width: int) -> None:
    # WCAG 2.2, 2.5.5 Target size (enhanced): 44 by 44 CSS pixels, links within text aside.
    sized(browser, width, 844)
    browser.get(_html(tmp_path, midiforge.read_drill(str(EXAMPLES[0]))).as_uri())
    browser.execute_script(
        "document.querySelector('#n1 .player').classList.add('open');"
        "document.querySelector('#n1 .player-strokes').click();"
        "document.querySelector('.order').open = true;"
    )
    sizes = browser.execute_script(
        "return [...document.querySelectorAll('button, summary, #n1 label, #n1 [type=range]')]"
        ".map((each) => [each.outerHTML.slice(0, 80), each.getBoundingClientRect()])"
        ".filter(([, box]) => box.width).map(([each, box]) => [each, box.width, box.height])"
    )
    assert len(sizes) > 20
    assert [each for each in sizes if min(each[1:]) < 44] == []
