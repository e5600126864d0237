"""An input that is looked after: what is said when it goes and comes back, and what stays behind.

No published source: the rules are the project's own. The driver is a stand-in.
"""

import threading
import time
from collections.abc import Callable, Iterator

import pytest
from jack import PATIENCE

from midiforge.live.ports import watched_input
from midiforge.live.ports.watched_input import WatchedInput


class Driver:
    """The ports, one input of which is ours.

    there: whether its port is. open: how many are open now. opens: called while one is opened.
    """

    def __init__(self) -> None:
        self.there = True
        self.open = 0
        self.tried = 0
        self.opens: Callable[[], None] = lambda: None
        driver = self

        class Input:
            name = "pads"

            def __init__(self, *_: object) -> None:
                driver.open += 1
                self.is_open = True

            def alive(self) -> bool:
                return driver.there

            def reopen(self) -> bool:
                self.close()
                driver.tried += 1
                driver.opens()
                if driver.there:
                    driver.open += 1
                    self.is_open = True
                return driver.there

            def close(self) -> None:
                driver.open -= self.is_open
                self.is_open = False

        self.Input = Input


@pytest.fixture
def driver(monkeypatch: pytest.MonkeyPatch) -> Iterator[Driver]:
    found = Driver()
    monkeypatch.setattr(watched_input, "RtInput", found.Input)
    monkeypatch.setattr(watched_input, "_TRY_EVERY", 0.01)
    monkeypatch.setattr(watched_input, "_LOOK_EVERY", 0.0)
    yield found


class Watched:
    """An input, what is said of it, and somebody who looks after it."""

    def __init__(self) -> None:
        self.said: list[str] = []
        self.input = WatchedInput("the kit's input", "", [lambda *_: None], self.said.append)

    def until(self, true: Callable[[], object]) -> None:
        end = time.monotonic() + PATIENCE
        while not true():
            assert time.monotonic() < end, f"not in time: {self.said}"
            self.input.look()
            time.sleep(0.001)


GONE = "the kit's input is gone; waiting for it to come back"
BACK = "the kit's input is back"


def test_an_input_that_goes_and_comes_back_is_said_once_each(driver: Driver) -> None:
    watched = Watched()
    watched.until(lambda: True)
    assert (watched.said, watched.input.gone) == ([], False)
    driver.there = False
    watched.until(lambda: driver.tried > 3)
    assert (watched.said, watched.input.gone) == ([GONE], True)
    driver.there = True
    watched.until(lambda: len(watched.said) > 1)
    assert (watched.said, watched.input.gone) == ([GONE, BACK], False)
    driver.there = False
    watched.until(lambda: len(watched.said) > 2)
    assert watched.said == [GONE, BACK, GONE]
    watched.input.close()


def test_a_driver_that_raises_while_it_is_looked_for_is_not_the_input_come_back(
    driver: Driver,
) -> None:
    def broken() -> None:
        raise OSError("the server is not there")

    watched = Watched()
    driver.there, driver.opens = False, broken
    watched.until(lambda: driver.tried > 3)
    assert watched.said == [GONE]
    driver.there, driver.opens = True, lambda: None
    watched.until(lambda: len(watched.said) > 1)
    assert watched.said == [GONE, BACK]
    assert driver.open == 1
    watched.input.close()


@pytest.mark.parametrize("patience", [0.05, PATIENCE])
def test_an_input_that_opens_while_all_ends_is_closed_again(
    driver: Driver, patience: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Whether the end waits long enough for it or not.
    monkeypatch.setattr(watched_input, "_PATIENCE", patience)
    opening, opened = threading.Event(), threading.Event()

    def slow() -> None:
        opening.set()
        assert opened.wait(PATIENCE)

    watched = Watched()
    driver.there, driver.opens = False, slow
    watched.until(opening.is_set)
    driver.there = True
    ending = threading.Thread(target=watched.input.close)
    ending.start()
    ending.join(0.2)
    opened.set()
    ending.join(PATIENCE)
    end = time.monotonic() + PATIENCE
    while driver.open or watched.input._opening.locked():
        assert time.monotonic() < end, "a port stays open"
        time.sleep(0.001)
    assert driver.tried == 1
