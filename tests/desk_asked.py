"""Asking a running `midiforge open` what its page asks, without a browser."""

import json
import time
from collections.abc import Callable
from typing import Any
from urllib.error import HTTPError
from urllib.parse import urlencode
from urllib.request import Request, urlopen

_PATIENCE = 60.0  # seconds, on a busy machine


def ask(address: str, path: str, **parameters: str) -> Any:
    """What is answered to a question, as JSON or else as bytes."""
    return _answer(Request(f"{address}{path}?{urlencode(parameters)}"))


def do(address: str, path: str, content: dict[str, Any]) -> Any:
    body = json.dumps(content).encode()
    return _answer(Request(f"{address}{path}", body, {"Content-Type": "application/json"}))


def give(address: str, path: str, content: bytes, **parameters: str) -> Any:
    """What is answered to a file."""
    return _answer(Request(f"{address}{path}?{urlencode(parameters)}", content))


def _answer(request: Request) -> Any:
    try:
        with urlopen(request, timeout=_PATIENCE) as response:
            body = response.read()
            kind = response.headers.get_content_type()
    except HTTPError as error:
        body, kind = error.read(), "application/json"
    return json.loads(body) if kind == "application/json" else body


def until(known: Callable[[], Any], what: str) -> Any:
    """What becomes true, soon."""
    end = time.monotonic() + _PATIENCE
    while not (value := known()):
        assert time.monotonic() < end, what
        time.sleep(0.05)
    return value
