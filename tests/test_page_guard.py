"""Who may see the page and who may change something."""

from __future__ import annotations

import http.client
from pathlib import Path
from typing import Any

import pytest
from pages import clip_map, keys, live, parts, row
from starlette.testclient import TestClient

from inspector.page.app import make_app
from inspector.page.guard import COOKIE
from inspector.record import MAPS

HERE = "http://127.0.0.1:8736"
NETWORK = "http://192.168.1.20:8736"
"""The same server, reached over the local network."""
TOKEN = "a-token-for-the-tests"
OWN = {"x-inspector": "page", "origin": HERE, "sec-fetch-site": "same-origin"}
"""What the page's own request to change something carries."""


@pytest.fixture
def asked() -> list[str]:
    return []


@pytest.fixture
def client(tmp_path: Path, asked: list[str]) -> TestClient:
    return client_at(HERE, tmp_path, asked)


def client_at(address: str, report: Path, asked: list[str], token: str | None = None) -> TestClient:
    empty = row("/evening/empty.dng", plate=True, picture=clip_map(report, "empty"))
    somebody = row("/evening/lunge.dng", picture=clip_map(report, "lunge"))
    made = parts(report, empty, somebody, asked=asked)
    made.feed.close()  # a stream that is let through by mistake ends, and the test fails
    client = TestClient(make_app(made, token=token), base_url=address)
    client.keys = keys(made.feed)  # type: ignore[attr-defined]
    return client


def key(client: TestClient, n: int = 0) -> str:
    return str(client.keys[n])  # type: ignore[attr-defined]


@pytest.mark.parametrize(
    "path", ["/", "/static/page.js", "/static/palette.css", "/frames/{}/picture.jpg", "/none"]
)
@pytest.mark.parametrize("sent", [{}, {"host": "elsewhere.example"}])
def test_every_answer_forbids_foreign_scripts(
    client: TestClient, path: str, sent: dict[str, str]
) -> None:
    """Directives of CSP level 3 (W3C), nosniff of the Fetch standard."""
    answer = client.get(path.format(key(client)), headers=sent)
    policy = dict(
        part.split(" ", 1) for part in answer.headers["content-security-policy"].split("; ")
    )
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["img-src"] == "'self'"
    assert "unsafe" not in str(policy)
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "no-referrer"
    assert answer.headers["cross-origin-resource-policy"] == "same-origin"
    assert "access-control-allow-origin" not in answer.headers


@pytest.mark.parametrize(
    ("host", "status"),
    [
        ("127.0.0.1:8736", 200),
        ("localhost:8736", 200),
        ("127.0.0.1", 421),
        ("127.0.0.1:80", 421),
        ("rebound.example:8736", 421),
        ("localhost:8736.rebound.example", 421),
        ("", 421),
    ],
)
def test_it_answers_to_its_own_names_alone(client: TestClient, host: str, status: int) -> None:
    assert client.get("/", headers={"host": host}).status_code == status


@pytest.mark.parametrize("path", ["/events", "/frames/{}/picture.jpg", "/frames/{}/points?x=1&y=1"])
@pytest.mark.parametrize(
    "sent",
    [
        {"sec-fetch-site": "cross-site", "sec-fetch-mode": "no-cors"},
        {"sec-fetch-site": "same-site", "sec-fetch-mode": "cors"},
        {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"},
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
    ],
)
def test_other_sites_get_nothing(client: TestClient, path: str, sent: dict[str, str]) -> None:
    assert client.get(path.format(key(client)), headers=sent).status_code == 403


def test_a_link_elsewhere_opens_the_page(client: TestClient) -> None:
    sent = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
    assert client.get("/", headers=sent).status_code == 200


def test_the_page_changes_the_plate(client: TestClient, asked: list[str]) -> None:
    answer = client.post("/plate", headers=OWN, json={"frame": key(client)})
    assert answer.status_code == 202
    assert asked == ["/evening/empty.dng"]


@pytest.mark.parametrize(
    "change",
    [
        {"origin": None},
        {"origin": "http://elsewhere.example"},
        {"origin": "null"},
        {"origin": "https://127.0.0.1:8736"},
        {"x-inspector": None},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"sec-fetch-site": "none"},
        {"host": "rebound.example:8736", "origin": "http://rebound.example:8736"},
    ],
)
def test_nobody_else_changes_it(
    client: TestClient, asked: list[str], change: dict[str, str | None]
) -> None:
    sent = {name: value for name, value in (OWN | change).items() if value is not None}
    answer = client.post("/plate", headers=sent, json={"frame": key(client)})
    assert answer.status_code in (403, 421)
    assert asked == []


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_there_is_no_other_way_to_change_something(client: TestClient, method: str) -> None:
    answer = client.request(method, "/plate", headers=OWN)
    assert answer.status_code == 405
    assert "access-control-allow-methods" not in answer.headers


@pytest.mark.parametrize(
    ("body", "status"),
    [
        ('{"frame": "0-1"}', 404),
        ('{"frame": ["a"]}', 404),
        ("{}", 400),
        ("[]", 400),
        ("frame=1", 400),
        ("\x00", 400),
        (" " * 5000, 413),
    ],
)
def test_a_wish_that_makes_no_sense_is_refused(
    client: TestClient, asked: list[str], body: str, status: int
) -> None:
    answer = client.post("/plate", headers=OWN, content=body)
    assert answer.status_code == status
    assert set(answer.json()) == {"error"}
    assert asked == []


def test_a_frame_with_somebody_in_it_is_no_plate(client: TestClient, asked: list[str]) -> None:
    answer = client.post("/plate", headers=OWN, json={"frame": key(client, 1)})
    assert answer.status_code == 409
    assert "somebody seems to stand in this frame" in answer.json()["error"]
    assert asked == []


# On the local network.


@pytest.mark.parametrize("path", ["/", "/static/page.js", "/events", "/frames/{}/picture.jpg"])
@pytest.mark.parametrize("shown", [None, "wrong", "", TOKEN[:-1], TOKEN + "x"])
def test_without_the_token_another_machine_gets_nothing(
    tmp_path: Path, path: str, shown: str | None
) -> None:
    client = client_at(NETWORK, tmp_path, [], TOKEN)
    sent = {} if shown is None else {"cookie": f"{COOKIE}={shown}"}
    answer = client.get(path.format(key(client)), headers=sent)
    assert answer.status_code == 403
    assert TOKEN not in answer.text


def test_the_printed_address_lets_it_in(tmp_path: Path) -> None:
    client = client_at(NETWORK, tmp_path, [], TOKEN)
    entered = client.get(f"/open/{TOKEN}")
    assert entered.status_code == 200
    cookie = entered.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert client.get("/").status_code == 200
    assert client.get(f"/frames/{key(client)}/picture.jpg").status_code == 200
    assert client_at(NETWORK, tmp_path, [], TOKEN).get("/open/wrong").status_code == 403


def test_the_token_does_not_leave_by_the_loopback_address(tmp_path: Path) -> None:
    client = client_at(HERE, tmp_path, [], TOKEN)
    assert client.get("/").status_code == 200
    answer = client.get("/open/wrong")
    assert answer.status_code == 404
    assert "set-cookie" not in answer.headers


def test_a_page_that_is_not_shared_serves_no_other_machine(tmp_path: Path) -> None:
    client = client_at(NETWORK, tmp_path, [])
    for shown in ("", "None", TOKEN):
        assert client.get("/", headers={"cookie": f"{COOKIE}={shown}"}).status_code == 403
        assert client.get(f"/open/{shown}").status_code == 403


@pytest.mark.parametrize("host", ["localhost:8736", "127.0.0.1:8736"])
def test_another_machine_cannot_pass_for_this_one(tmp_path: Path, host: str) -> None:
    client = client_at(NETWORK, tmp_path, [], TOKEN)
    assert client.get("/", headers={"host": host}).status_code == 421


# Paths.

LEADING_OUT = (
    "/../secret.txt",
    "/static/../secret.txt",
    "/static/..%2f..%2fsecret.txt",
    "/static/%2e%2e/%2e%2e/secret.txt",
    "/static//etc/passwd",
    "/static/%2fetc%2fpasswd",
    "/static/..\\..\\secret.txt",
    "/static/page.js%00.html",
    "/static/",
    "/frames/../secret.txt",
    "/frames/..%2f..%2fsecret.txt/picture.jpg",
    "/frames/maps%2fempty.jpg/picture.jpg",
    "/maps/empty.jpg",
    "/record.sqlite",
)


@pytest.mark.parametrize("path", LEADING_OUT)
def test_no_path_leads_out(tmp_path: Path, path: str) -> None:
    (tmp_path / "secret.txt").write_text("a secret")
    report = tmp_path / "report"
    clip_map(report, "empty")
    with live(report) as page:
        connection = http.client.HTTPConnection(page.address.split("/")[2], timeout=30)
        connection.request("GET", path)  # as it is, not made simple
        answer = connection.getresponse()
        assert answer.status == 404
        assert b"secret" not in answer.read()
        connection.close()


@pytest.mark.parametrize("kind", ["above", "absolute", "link", "folder", "gone", "text"])
def test_a_record_that_names_another_file_shows_no_picture(tmp_path: Path, kind: str) -> None:
    report = tmp_path / "report"
    outside = tmp_path / clip_map(tmp_path, "outside")
    (report / MAPS).mkdir(parents=True)
    (report / MAPS / "link.jpg").symlink_to(outside)
    (report / MAPS / "text.jpg").write_text("no picture")
    names: dict[str, str] = {
        "above": f"../{MAPS}/outside.jpg",
        "absolute": str(outside),
        "folder": MAPS,
    }
    name = names.get(kind, f"{MAPS}/{kind}.jpg")
    made = parts(report, row("/evening/a.dng", picture=name))
    client = TestClient(make_app(made), base_url=HERE)
    for picture in ("picture.jpg", "small.jpg"):
        answer: Any = client.get(f"/frames/{keys(made.feed)[0]}/{picture}")
        assert answer.status_code == 404
        assert answer.json() == {"error": "no picture of this frame"}
