"""A session at the kit on the page, in a browser: where the focus is, the whole screen, the wake
lock, two tabs, and a page that is loaded again (JACK's dummy server)."""

import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import jack
import pytest
from browser import chromium
from desk import server

pytestmark = [
    pytest.mark.skipif(bool(jack.missing()), reason=jack.missing()),
    pytest.mark.usefixtures("module"),
]

DRILL = """
title = "Harbour stairs"
sticking = "RLLR LRRL"
meter = "2/4"
feet = "1 2"
stages = "mine, full"
tempos = "96"
[stage.mine]
limbs = ["RH", "RF"]
"""
# Counts what is held of the wake lock, and can refuse the whole screen.
_WATCHED = """
window.held = 0;
Object.defineProperty(navigator, "wakeLock", { value: { request: () => {
  held += 1;
  return Promise.resolve({ release: () => { held -= 1; return Promise.resolve(); } });
} } });
"""
_REFUSES = "Element.prototype.requestFullscreen = () => Promise.reject(new TypeError('no'))"


@pytest.fixture(scope="module")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    yield from chromium(tmp_path_factory.mktemp("profile"))


class Tab:
    """A tab that is at Practise."""

    def __init__(self, browser: Any, address: str) -> None:
        self.browser, self.address = browser, address
        self.handle = browser.current_window_handle

    def open(self) -> "Tab":
        self.browser.get("about:blank")
        self.browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": _WATCHED})
        self.browser.get(f"{self.address}#view=practise&drill=drill.toml")
        return self.ready()

    def ready(self) -> "Tab":
        self.until("document.querySelector('.practise-start')?.disabled === false")
        return self

    def js(self, script: str) -> Any:
        return self.browser.execute_script(f"return {script}")

    def when(self, true: Callable[[], Any], what: str) -> Any:
        end = time.monotonic() + 25
        while not (value := true()):
            assert time.monotonic() < end, (what, self.news)
            time.sleep(0.05)
        return value

    def until(self, script: str) -> Any:
        return self.when(lambda: self.js(script), script)

    def press(self, css: str) -> None:
        self.browser.find_element("css selector", css).click()

    def start(self) -> "Tab":
        self.press(".practise-start")
        self.until("document.querySelector('.stand-title')?.textContent")
        return self

    @property
    def news(self) -> str:
        return str(self.js("document.getElementById('news').textContent"))

    @property
    def focus(self) -> str:
        return str(self.js("document.activeElement.className"))


@pytest.fixture
def tab(tmp_path: Path, browser: Any) -> Iterator[Tab]:
    (tmp_path / "drill.toml").write_text(DRILL)
    (tmp_path / "other.toml").write_text(DRILL.replace("stairs", "ladder"))
    with server(tmp_path) as (address, _):
        yield Tab(browser, address).open()
        browser.execute_script("document.querySelector('.stand-end')?.click()")
        end = time.monotonic() + 10
        while browser.execute_script("return document.body.classList.contains('in-session')"):
            assert time.monotonic() < end
            time.sleep(0.05)
        browser.get("about:blank")


def test_keys_stay_in_a_session_and_come_back_to_start(tab: Tab) -> None:
    tab.start()
    assert tab.focus == "stage"
    for _ in range(12):
        tab.browser.switch_to.active_element.send_keys("\ue004")  # Tab
        assert tab.js("!document.activeElement.closest('.top, .practise-days')")
    assert tab.js("held") == 1
    tab.browser.find_element("css selector", ".stand-end").click()
    tab.until("document.querySelector('.stage').hidden")
    tab.when(lambda: tab.focus == "practise-start", "the focus is on Start")
    assert tab.news == "The session has ended."
    assert tab.js("held") == 0
    assert not tab.js("document.getElementById('views').inert")


def test_a_session_of_several_lessons_has_stages_of_ones_own(tab: Tab) -> None:
    tab.browser.execute_script("document.querySelectorAll('fieldset input')[1].click()")
    tab.start()
    seen: set[str] = set()
    for _ in range(40):
        words = tab.js(
            "document.querySelector('.stand-where').textContent"
            " + document.querySelector('.stand-title').textContent"
        )
        seen |= {word for word in ("stairs", "ladder", ", mine") if word in words}
        if len(seen) == 3:
            break
        tab.press(".stand-next")
        time.sleep(0.3)
    assert seen == {"stairs", "ladder", ", mine"}


def test_the_whole_screen_is_given_and_given_back_and_a_refusal_is_said(tab: Tab) -> None:
    tab.start()
    tab.press(".stand-full")
    tab.until("document.fullscreenElement?.className === 'stage'")
    tab.until("document.querySelector('.stand-full').textContent === 'Leave full screen'")
    tab.press(".stand-full")
    tab.until("document.fullscreenElement === null")
    tab.until("document.querySelector('.stand-full').textContent === 'Full screen'")
    tab.browser.execute_script(_REFUSES)
    tab.press(".stand-full")
    tab.until("document.querySelector('.stand-refused').textContent.includes('whole screen')")
    assert not tab.js("document.querySelector('.stage').hidden")


def test_of_two_tabs_one_has_the_session_and_the_other_says_so(tab: Tab, browser: Any) -> None:
    tab.start()
    browser.switch_to.new_window("tab")
    second = Tab(browser, tab.address).open()
    second.press(".practise-start")
    second.until("document.querySelector('.take-over')")
    assert "Something else is using MIDI" in second.news
    second.when(lambda: "take-over" in second.focus, "the focus is on the offer")
    second.press(".take-over")
    second.until("document.querySelector('.stand-title')?.textContent")
    assert second.news == ""
    browser.switch_to.window(tab.handle)
    tab.when(lambda: "Another page plays now" in tab.news, "the first tab says why it ended")
    assert tab.js("document.querySelector('.stage').hidden")
    browser.switch_to.window(second.handle)
    second.press(".stand-end")
    second.until("document.querySelector('.stage').hidden")
    browser.close()
    browser.switch_to.window(tab.handle)


def test_a_page_asks_before_it_is_loaded_again_in_a_session_and_can_begin_at_once_then(
    tab: Tab,
) -> None:
    asks = (
        "(() => { const event = new Event('beforeunload', { cancelable: true });"
        " dispatchEvent(event); return event.defaultPrevented; })()"
    )
    assert not tab.js(asks)
    tab.start()
    assert tab.js(asks)
    tab.browser.refresh()  # WebDriver lets go by such questions
    tab.ready().start()
    assert not tab.js("document.querySelector('.take-over')")


def test_a_session_ends_where_another_view_is_turned_to(tab: Tab) -> None:
    tab.start()
    tab.browser.execute_script("location.hash = '#view=kit&drill=drill.toml'")
    tab.until("!document.body.classList.contains('in-session')")
    tab.when(lambda: "has ended" in tab.news, "it says so")
