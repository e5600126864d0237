"""Nobody but the page that `midiforge open` opened gets in.

What a foreign page can do is as the Fetch standard has it (https://fetch.spec.whatwg.org): a
request with Origin, or Sec-Fetch-Site, of elsewhere; a name of its own that leads to this computer
("DNS rebinding") comes with that name as Host.
"""

import http.client
import json
import socket
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from desk import served, server

DRILL = 'title = "Gate"\nsticking = "RLRR LRLL"\nfeet = "samba"\n'


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("open")
    (folder / "gate.toml").write_text(DRILL)
    (folder.parent / "outside.toml").write_text(DRILL)
    (folder / ".hidden.toml").write_text(DRILL)
    with served(folder) as address:
        yield address


def ask(
    page: str, path: str, method: str = "GET", body: bytes | None = None, **headers: str
) -> tuple[int, bytes, http.client.HTTPMessage]:
    """path: behind the secret; one that begins with / is the whole."""
    parts = urlsplit(page)
    connection = http.client.HTTPConnection(parts.hostname or "", parts.port, timeout=20)
    named = {name.replace("_", "-"): value for name, value in headers.items()}
    connection.request(method, path if path[:1] == "/" else parts.path + path, body, named)
    answer = connection.getresponse()
    return answer.status, answer.read(), answer.headers


def test_the_page_and_its_answers_are_there_for_whoever_has_the_secret(page: str) -> None:
    status, body, headers = ask(page, "")
    assert status == 200
    assert b"midiforge" in body
    assert "default-src 'self'" in headers["Content-Security-Policy"]
    assert headers["Referrer-Policy"] == "no-referrer"
    assert headers["Set-Cookie"] is None
    assert ask(page, "api/drills")[0] == 200


@pytest.mark.parametrize(
    "path",
    ["/", "/api/drills", "/x/api/drills", "/style.css", "//", "/%00/", "/desk/page/main.js"],
)
def test_without_the_secret_there_is_nothing(page: str, path: str) -> None:
    assert ask(page, path)[:2] == (404, b"Nothing is here.\n")


def test_a_secret_that_is_nearly_right_is_wrong(page: str) -> None:
    path = urlsplit(page).path
    for near in (path[:-2] + "/", path.swapcase(), path[:-1] + "x/", "/" + path):
        assert ask(page, near)[0] == 404, near


@pytest.mark.parametrize(
    "headers",
    [
        {"Host": "evil.example"},
        {"Host": "evil.example:80"},
        {"Host": "127.0.0.1"},
        {"Origin": "https://evil.example"},
        {"Origin": "null"},
        {"Sec_Fetch_Site": "cross-site"},
        {"Sec_Fetch_Site": "same-site"},
    ],
)
@pytest.mark.parametrize("method", ["GET", "POST"])
def test_a_foreign_page_gets_nothing_though_it_knew_the_secret(
    page: str, method: str, headers: dict[str, str]
) -> None:
    assert ask(page, "api/drills", method, **headers)[0] == 404


def test_a_foreign_origin_cannot_write(page: str) -> None:
    body = json.dumps({"title": "Mine"}).encode()
    assert ask(page, "api/drills", "POST", body, Origin="http://evil.example")[0] == 404
    port = urlsplit(page).port
    assert ask(page, "api/drills", "POST", body, Origin=f"http://localhost:{port}")[0] == 404
    assert "Mine" not in ask(page, "api/drills")[1].decode()


def test_it_listens_on_this_computer_only(page: str) -> None:
    port = urlsplit(page).port
    others = {info[4][0] for info in socket.getaddrinfo(socket.gethostname(), None)}
    for address in {str(each) for each in others if not str(each).startswith("127.")} - {"::1"}:
        with pytest.raises(OSError), socket.create_connection((address, port or 0), timeout=2):
            pass


@pytest.mark.parametrize(
    "name",
    [
        "../outside.toml",
        "/etc/passwd",
        "..",
        ".",
        "",
        ".hidden.toml",
        "x/../../outside.toml",
        "gate.toml\0",
        "log.sqlite",
        "a/" * 300 + "x.toml",
        "nothing.toml",
    ],
)
def test_no_file_outside_the_folder_is_read(page: str, name: str) -> None:
    from urllib.parse import quote

    status, body, _ = ask(page, f"api/lesson?drill={quote(name, safe='')}")
    assert status == 422
    assert b"RLRR" not in body
    assert b"root:" not in body


def test_a_link_that_leads_outside_is_not_followed(page: str, tmp_path: Path) -> None:
    folder = Path(json.loads(ask(page, "api/drills")[1])["folder"])
    link = folder / "link.toml"
    (tmp_path / "target.toml").write_text(DRILL)
    link.symlink_to(tmp_path / "target.toml")
    try:
        assert ask(page, "api/lesson?drill=link.toml")[0] == 422
        assert b"link.toml" not in ask(page, "api/drills")[1]
    finally:
        link.unlink()


@pytest.mark.parametrize(
    "path",
    [
        "desk/page/../gate.py",
        "desk/page/..%2fgate.py",
        "desk/page/%2e%2e/gate.py",
        "pages/player/..%2f..%2fsession.py",
        "desk/page/index.html",
        "desk/gate.py",
    ],
)
def test_of_the_package_only_what_the_page_needs_is_given(page: str, path: str) -> None:
    assert ask(page, path)[0] == 404


@pytest.mark.parametrize(
    "body",
    [
        *(b"", b"[]", b"{", b"null", b'{"drill": 3}', b'{"drill": "gate.toml"}', b"[" * 100_000),
        *(b'{"drill": "gate.toml", "base": "x", "changes": []}', b"\xff\xfe"),
    ],
)
def test_what_is_no_request_is_refused_in_a_sentence(page: str, body: bytes) -> None:
    for path in ("api/lesson", "api/lesson/text", "api/lesson/steps", "api/drills"):
        status, answer, _ = ask(page, path, "POST", body)
        assert status in (422, 409), (path, body[:40])
        assert b"Traceback" not in answer


def test_what_is_too_large_is_not_read(page: str) -> None:
    try:
        status, _, _ = ask(page, "api/lesson/text", "POST", b"x" * (33 * 2**20))
    except OSError:
        return  # the connection was closed before all of it was sent
    assert status == 413


def test_it_ends_well_when_it_is_asked_to(tmp_path: Path) -> None:
    (tmp_path / "gate.toml").write_text(DRILL)
    with server(tmp_path) as (page, process):
        assert ask(page, "")[0] == 200
        process.terminate()
        assert process.wait(20) in (0, -15, 130, 143)
        assert process.stderr is not None
        assert process.stderr.read() == ""
