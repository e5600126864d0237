"""A thread that makes ahead what is played next; nobody who quits waits for it."""

import threading
from collections.abc import Callable
from concurrent.futures import Executor, Future
from queue import SimpleQueue
from typing import Any, ParamSpec, TypeVar

_P = ParamSpec("_P")
_T = TypeVar("_T")


class Worker(Executor):
    """Does one thing after the other, in the order asked.

    Its thread ends with the program, whatever it is at; those of Python's own are waited for.
    """

    def __init__(self) -> None:
        self._asked: SimpleQueue[Callable[[], None] | None] = SimpleQueue()
        self._waiting: set[Future[Any]] = set()
        threading.Thread(target=self._work, daemon=True).start()

    def submit(self, fn: Callable[_P, _T], /, *args: _P.args, **kwargs: _P.kwargs) -> Future[_T]:
        future: Future[_T] = Future()

        def make() -> None:
            if future.set_running_or_notify_cancel():
                try:
                    future.set_result(fn(*args, **kwargs))
                except BaseException as error:
                    future.set_exception(error)

        self._waiting = {each for each in self._waiting if not each.done()} | {future}
        self._asked.put(make)
        return future

    def shutdown(self, wait: bool = False, *, cancel_futures: bool = True) -> None:
        """What is not begun is left, if `cancel_futures`; what is being made is not waited for,
        unless `wait`."""
        self._asked.put(None)
        for future in self._waiting:
            if cancel_futures:
                future.cancel()
            if wait and not future.cancelled():
                future.exception()

    def _work(self) -> None:
        while make := self._asked.get():
            make()
