"""The live page over HTTP: what it serves, the stream of events, points, the command."""

from __future__ import annotations

import json
import os
import queue
import re
import signal
import socket
import subprocess
import sys
import tempfile
import webbrowser
from collections.abc import Iterator
from contextlib import closing, contextmanager
from functools import partial
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path
from typing import Any

import cv2
import httpx2
import judges
import numpy as np
import pytest
import tifffile
from click.testing import CliRunner
from pages import AROUND, PICTURE, clip_map, keys, live, parts, row
from starlette.testclient import TestClient

from inspector.batch import InputError
from inspector.cli import main
from inspector.decode import decode
from inspector.files import Stamp
from inspector.lane import Judged, PlateTaken, Said, UsePlate
from inspector.page import points, serve
from inspector.page.app import make_app
from inspector.page.colours import palette_css
from inspector.page.feed import Feed
from inspector.record import DATABASE, Store
from inspector.report import palette
from inspector.report.layout import arrange

HERE = "http://127.0.0.1:8736"
SAMPLES = Path(__file__).parent.parent / "sample_frames"
PORTRAIT = SAMPLES / "fencing-12-lit-portrait.dng"
get, post = partial(httpx2.get, timeout=60), partial(httpx2.post, timeout=60)
PATIENCE = 12
"""Signs of life of a stream after which an event is given up."""
STATIC = files("inspector.page") / "static"
MARKUP = '<img src=x onerror="document.title=1">&amp;.dng'


class Stream:
    """The events of a page's stream, read as a browser does (WHATWG HTML, 9.2.6)."""

    def __init__(self, response: httpx2.Response) -> None:
        self.lines = response.iter_lines()

    def next(self) -> tuple[str, str, Any]:
        """Id, kind and data of the next event that has an id."""
        fields: dict[str, str] = {}
        beats = 0
        for line in self.lines:
            if line:
                name, _, value = line.partition(": ")
                fields[name] = value
            elif "id" in fields:
                return fields["id"], fields["event"], json.loads(fields["data"])
            else:
                beats += fields.get("event") == "beat"
                assert beats < PATIENCE, "nothing happens"
                fields = {}
        raise EOFError


@contextmanager
def stream(address: str, last: str | None = None) -> Iterator[Stream]:
    sent = {} if last is None else {"last-event-id": last}
    with httpx2.stream("GET", f"{address}events", headers=sent, timeout=30) as response:
        assert response.status_code == 200
        assert response.headers["content-type"].startswith("text/event-stream")
        yield Stream(response)


def names(data: Any) -> list[str]:
    return [frame["name"] for frame in data["frames"]]


# What is served.


class Elements(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.inline = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        if self.found and self.found[-1][0] in ("script", "style"):
            self.inline += data.strip()


def test_the_page_holds_no_script_and_names_no_other_host(tmp_path: Path) -> None:
    client = TestClient(make_app(parts(tmp_path)), base_url=HERE)
    page = Elements(client.get("/").text)
    assert page.inline == ""
    loaded = []
    for tag, attributes in page.found:
        assert not any(name.startswith("on") or name == "style" for name in attributes)
        loaded += [attributes[n] for n in ("src", "href") if tag != "a" and n in attributes]
    assert len(loaded) >= 4
    for address in loaded:
        assert str(address).startswith("/static/")
        assert client.get(str(address)).status_code == 200
    for file in STATIC.iterdir():
        text = file.read_text().replace("http://www.w3.org/2000/svg", "")
        assert not re.search(r"//[\w.-]+\.\w|@import|innerHTML|outerHTML|insertAdjacentHTML", text)


def test_modules_are_served_as_javascript(tmp_path: Path) -> None:
    client = TestClient(make_app(parts(tmp_path)), base_url=HERE)
    for file in STATIC.iterdir():
        answer = client.get(f"/static/{file.name}")
        kind = {"js": "text/javascript", "css": "text/css", "html": "text/html"}
        assert answer.headers["content-type"].startswith(
            kind.get(file.name.rpartition(".")[2], "image/svg+xml")
        )


def test_its_colours_are_the_clip_maps() -> None:
    style = palette_css()
    for mark in palette.MARKS:
        assert "#{:02x}{:02x}{:02x};".format(*mark.rgb) in style
    own = "".join(file.read_text() for file in STATIC.iterdir())
    used = set(re.findall(r"var\(--([\w-]+)", own))
    assert used <= set(re.findall(r"--([\w-]+)[:\"]", style + own))


def test_the_picture_is_cut_out_of_the_clip_map(tmp_path: Path) -> None:
    made = parts(tmp_path, row("/evening/a.dng", picture=clip_map(tmp_path, "a")))
    client = TestClient(make_app(made), base_url=HERE)
    [key] = keys(made.feed)
    answer = client.get(f"/frames/{key}/picture.jpg")
    assert answer.headers["content-type"] == "image/jpeg"
    assert "immutable" in answer.headers["cache-control"]
    width, height = arrange(1080, 720).picture_size
    for name, zoom in (("picture", 1), ("small", 4)):
        data = client.get(f"/frames/{key}/{name}.jpg").content
        picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
        assert picture is not None
        assert abs(picture.shape[1] - width / zoom) <= 2
        assert abs(picture.shape[0] - height / zoom) <= 2
        assert abs(picture.astype(int) - PICTURE).max() < 20  # nothing of what is around, AROUND
    assert AROUND < PICTURE - 20


# The feed.


def test_a_page_gets_the_set_and_then_what_happens(tmp_path: Path) -> None:
    with live(tmp_path) as page:
        shown = page.follow(
            iter(
                [
                    Judged(row("/evening/b.dng", "warn")),
                    PlateTaken("the plate", "/evening/a.dng"),
                    Said("/evening/c.dng: gone before it was finished"),
                ]
            )
        )
        page._feed.add(row("/evening/a.dng", plate=True))
        with stream(page.address) as events:
            _, kind, data = events.next()
            assert (kind, names(data), data["plate"]) == ("set", ["a.dng"], None)
            for _ in shown:
                pass
            _, kind, frame = events.next()
            assert (kind, frame["name"], frame["verdict"]) == ("frame", "b.dng", "warn")
            _, kind, plate = events.next()
            assert (kind, plate) == ("plate", {"name": "a.dng", "key": data["frames"][0]["key"]})
            _, kind, note = events.next()
            assert (kind, note["text"]) == ("note", "c.dng: gone before it was finished")
            assert re.fullmatch(r"\d\d:\d\d", note["at"])


def test_after_a_lost_connection_it_catches_up(tmp_path: Path) -> None:
    with live(tmp_path) as page:
        page._feed.add(row("/evening/a.dng"))
        with stream(page.address) as events:
            events.next()
            page._feed.add(row("/evening/b.dng"))
            last, _, _ = events.next()
        page._feed.add(row("/evening/c.dng"))
        page._feed.add(row("/evening/d.dng"))
        with stream(page.address, last) as events:
            caught_up = [events.next()[2]["name"], events.next()[2]["name"]]
            page._feed.add(row("/evening/e.dng"))
            assert [*caught_up, events.next()[2]["name"]] == ["c.dng", "d.dng", "e.dng"]


@pytest.mark.parametrize("last", ["", "0.1", "deadbeef.1", "{}.99", "{}.-1", "{}.x", "é", "{}.²"])
def test_an_id_from_elsewhere_gets_the_whole_set(last: str) -> None:
    feed = Feed("evening")
    feed.add(row("/evening/a.dng"))
    [message] = feed.messages(None)
    epoch = message.id.partition(".")[0]
    [again] = feed.messages(last.format(epoch))
    assert (again.event, names(json.loads(again.data))) == ("set", ["a.dng"])
    assert feed.messages(message.id) == []


def test_a_stream_ends_with_the_set(tmp_path: Path) -> None:
    with live(tmp_path) as page:
        opened = stream(page.address)
        events = opened.__enter__()
        events.next()
    with pytest.raises(EOFError):
        events.next()
    opened.__exit__(None, None, None)


def test_a_frame_judged_again_takes_the_place_of_the_first() -> None:
    feed = Feed("evening")
    feed.add(row("/evening/a.dng", "unreadable"))
    feed.add(row("/evening/b.dng"))
    first, other = keys(feed)
    feed.add(row("/evening/a.dng", stamp=Stamp(5, 5)))
    assert first not in keys(feed)
    assert keys(feed)[0] == other
    feed.add(row("/evening/b.dng", stamp=Stamp(5, 5)))  # replaced by another frame of that name
    assert len(keys(feed)) == 3
    *_, message = feed.messages(f"{first.partition('-')[0]}.2")[:1]
    assert json.loads(message.data)["gone"] == [first]


def test_what_was_judged_before_is_there_at_once(tmp_path: Path) -> None:
    with closing(Store(tmp_path)) as store:
        store.add([row("/evening/a.dng"), row("/evening/b.dng", "warn")])
    with live(tmp_path) as page, stream(page.address) as events:
        assert names(events.next()[2]) == ["a.dng", "b.dng"]


def test_names_are_data(tmp_path: Path) -> None:
    made = parts(tmp_path, row(f"/evening/{MARKUP}"), row("/evening/\u202egnd.\x1b[2Jexe.dng"))
    client = TestClient(make_app(made), base_url=HERE)
    assert MARKUP not in client.get("/").text
    [whole] = made.feed.messages(None)
    first, second = names(json.loads(whole.data))
    assert first == MARKUP
    assert second == "\\u202egnd.\\x1b[2Jexe.dng"
    assert "\n" not in whole.data


def test_a_name_that_is_no_text_can_be_sent() -> None:
    feed = Feed("evening")
    feed.add(row(os.fsdecode(b"/evening/\xff.dng")))
    [whole] = feed.messages(None)
    assert names(json.loads(whole.data.encode("utf-8"))) == ["\\udcff.dng"]


# Points.


def test_points_agree_with_the_raw_data(tmp_path: Path) -> None:
    """The stops of both by tifffile and plain arithmetic: 14 bits, black and gains of the file."""
    before = PORTRAIT.read_bytes(), PORTRAIT.stat().st_mtime_ns
    frame = decode(PORTRAIT)
    width, height = frame.size
    record = row(PORTRAIT)
    record.record["frame"] |= {"width": width, "height": height}
    with live(tmp_path) as page:
        page._feed.add(record)
        [key] = keys(page._feed)
        asked = {"x": ["320.5", "420.5"], "y": ["431.5", "431.5"]}
        found = get(f"{page.address}frames/{key}/points", params=asked).json()
    stored = tifffile.imread(PORTRAIT).astype(float)
    ev = []
    for x, y in zip(asked["x"], asked["y"], strict=True):
        # Orientation 8: the stored picture's row is viewed x, its column counts from the bottom.
        row_, column = int(float(x)) // 2 * 2, int(height - float(y)) // 2 * 2
        cells = stored[row_ - 4 : row_ + 6, column - 4 : column + 6]
        green = np.mean([cells[0::2, 1::2], cells[1::2, 0::2]])
        ev.append(np.log2((green - frame.black[1]) / (16383 - frame.black[1])))
    assert frame.orientation == 8
    assert [point["ev"] for point in found["points"]] == pytest.approx(ev, abs=0.01)
    assert found["ratio"]["stops"] == pytest.approx(abs(ev[0] - ev[1]), abs=0.02)
    assert found["ratio"]["times"] == pytest.approx(2 ** abs(ev[0] - ev[1]), rel=0.02)
    assert [channel["name"] for channel in found["points"][0]["channels"]] == ["R", "G1", "G2", "B"]
    assert (PORTRAIT.read_bytes(), PORTRAIT.stat().st_mtime_ns) == before


def test_points_are_read_by_the_clip_levels_of_the_record(tmp_path: Path) -> None:
    """Which may be remembered from other frames: 12000 in place of 16383 is 0.46 stop more."""
    black = float(decode(PORTRAIT).black[1])
    found = []
    with live(tmp_path) as page:
        for level in (16383.0, 12000.0):
            judged = row(PORTRAIT)
            judged.record["clip"]["levels"] = dict.fromkeys(("R", "G1", "G2", "B"), level)
            page._feed.add(judged)
            address = f"{page.address}frames/{keys(page._feed)[-1]}/points?x=320.5&y=431.5"
            found.append(get(address).json()["points"][0]["ev"])
    assert found[1] - found[0] == pytest.approx(np.log2((16383 - black) / (12000 - black)))


@pytest.mark.parametrize(
    ("query", "status"),
    [
        ("x=1&y=1", 200),
        ("x=1&y=1&x=2&y=2", 200),
        ("x=1079.9&y=719.9", 200),
        ("x=1080&y=1", 400),
        ("x=-0.1&y=1", 400),
        ("x=nan&y=1", 400),
        ("x=inf&y=1", 400),
        ("x=a&y=1", 400),
        ("x=1", 400),
        ("", 400),
        ("x=1&y=1&x=1&y=1&x=1&y=1", 400),
    ],
)
def test_points_lie_in_the_picture(tmp_path: Path, query: str, status: int) -> None:
    made = parts(tmp_path, row("/evening/a.dng"))
    client = TestClient(make_app(made), base_url=HERE)
    answer = client.get(f"/frames/{keys(made.feed)[0]}/points?{query}")
    assert answer.status_code == status
    assert ("error" in answer.json()) == (status != 200)


@pytest.mark.parametrize(
    ("kind", "why"),
    [
        ("gone", "no longer where it was"),
        ("changed", "has changed"),
        ("broken", "damaged or cut short"),
    ],
)
def test_an_original_that_cannot_be_read_is_said(tmp_path: Path, kind: str, why: str) -> None:
    frame = tmp_path / "a.dng"
    frame.write_text("no frame at all")
    judged = row(frame)
    if kind == "gone":
        frame.unlink()
    elif kind == "changed":
        frame.write_text("another")
    with live(tmp_path / "report") as page:
        page._feed.add(judged)
        address = f"{page.address}frames/{keys(page._feed)[0]}/points?x=1&y=1"
        answer = get(address)
    assert answer.status_code == 409
    assert why in answer.json()["error"]


@pytest.mark.parametrize(
    ("core", "why"), [(judges.that_fails, "did not start"), (judges.by_content, "broke down")]
)
def test_a_reader_that_breaks_down_costs_one_answer(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, core: Any, why: str
) -> None:
    monkeypatch.setattr(points, "point_judge", core)
    frame = tmp_path / "a.dng"
    frame.write_text("crash")
    reader = points.PointReader()
    with closing(reader), pytest.raises(points.PointError, match=why):
        reader.read(str(frame), row(frame).stamp, [(1.0, 1.0)])


# Addresses and the browser.


def test_it_listens_on_the_loopback_address_alone(tmp_path: Path) -> None:
    with live(tmp_path) as page:
        assert [each.getsockname()[0] for each in page._sockets] == ["127.0.0.1"]
        assert page.shared_address is None


def test_a_second_page_finds_another_port(tmp_path: Path) -> None:
    with live(tmp_path / "a") as one, live(tmp_path / "b") as two:
        assert one.address != two.address
        for page in (one, two):
            assert get(page.address).status_code == 200


def test_a_shared_page_has_a_token_that_nobody_guesses(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(serve, "_local_address", lambda: "127.0.0.2")
    with live(tmp_path / "a", share=True) as one, live(tmp_path / "b", share=True) as two:
        tokens = [str(page.shared_address).rpartition("/")[2] for page in (one, two)]
        assert tokens[0] != tokens[1]
        assert min(map(len, tokens)) >= 22  # 128 bits in base64
        assert str(one.shared_address).startswith("http://127.0.0.2:")
        assert get(str(one.shared_address)).status_code == 200


class FakeProbe:
    """A socket that would leave by an address, or has no way out."""

    def __init__(self, address: str | None) -> None:
        self.address = address

    def __call__(self, *_: object) -> FakeProbe:
        return self

    def __enter__(self) -> FakeProbe:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def connect(self, _: object) -> None:
        if self.address is None:
            raise OSError(101, "Network is unreachable")

    def getsockname(self) -> tuple[str, int]:
        return str(self.address), 1


@pytest.mark.parametrize(
    ("address", "why"), [(None, "no local network"), ("8.8.8.8", "open internet")]
)
def test_it_is_shared_on_a_local_network_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, address: str | None, why: str
) -> None:
    monkeypatch.setattr(socket, "socket", FakeProbe(address))
    with pytest.raises(InputError, match=why):
        serve._local_address()


def test_the_code_in_the_terminal_reads_as_the_address() -> None:
    """Read back by OpenCV's detector."""
    address = "http://192.168.1.20:8736/open/Zm9yIHRoZSB0ZXN0cyBvbg"
    lines = serve.qr_code(address).splitlines()
    halves = {"█": (255, 255), "▀": (255, 0), "▄": (0, 255), " ": (0, 0)}
    modules = np.array([[halves[c] for c in line] for line in lines], np.uint8)
    picture = modules.transpose(0, 2, 1).reshape(2 * len(lines), -1)
    large = np.kron(picture, np.ones((8, 8), np.uint8))
    assert cv2.QRCodeDetector().detectAndDecode(large)[0] == address


@pytest.mark.parametrize("screen", ["DISPLAY", "WAYLAND_DISPLAY", "BROWSER", None])
def test_no_browser_opens_in_the_terminal(
    monkeypatch: pytest.MonkeyPatch, screen: str | None
) -> None:
    opened: list[str] = []

    def opens(address: str) -> bool:
        opened.append(address)
        return True

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(webbrowser, "open", opens)
    for name in ("DISPLAY", "WAYLAND_DISPLAY", "BROWSER"):
        monkeypatch.delenv(name, raising=False)
    if screen is not None:
        monkeypatch.setenv(screen, "something")
    assert serve.open_browser(HERE) == (screen is not None)
    assert opened == ([] if screen is None else [HERE])


# The command.


def test_the_command_serves_the_set_while_it_is_shot(tmp_path: Path) -> None:
    hot = tmp_path / "hot"
    hot.mkdir()
    command = [sys.executable, "-m", "inspector", "watch", str(hot), "--existing", "--page"]
    process = subprocess.Popen(
        command,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env=os.environ | {"BROWSER": "true"},
    )
    try:
        assert process.stderr is not None
        address = process.stderr.readline().rpartition(" ")[2].strip()
        assert re.fullmatch(r"http://127\.0\.0\.1:\d+/", address)
        with stream(address) as events:
            _, _, whole = events.next()
            assert (whole["name"], whole["frames"]) == ("hot", [])
            plate = SAMPLES / "fencing-01-empty-plate.dng"
            (hot / MARKUP).write_bytes(plate.read_bytes())
            _, kind, frame = events.next()
            assert (kind, frame["name"], frame["verdict"]) == ("frame", MARKUP, "pass")
            sent = {"origin": address.rstrip("/"), "x-inspector": "page"}
            answer = post(f"{address}plate", json={"frame": frame["key"]}, headers=sent)
            assert answer.status_code == 202
            _, kind, taken = events.next()
            assert (kind, taken["key"]) == ("plate", frame["key"])
            picture = get(f"{address}frames/{frame['key']}/picture.jpg")
            assert picture.content.startswith(b"\xff\xd8")
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=120)
    finally:
        process.kill()
        process.communicate()
    assert process.returncode == 0
    assert "1 frame: 1 pass" in out
    assert "the plate from now on" in err
    assert (tmp_path / "hot-report" / DATABASE).is_file()
    assert [path.name for path in hot.iterdir()] == [MARKUP]


@pytest.mark.parametrize("command", [["watch", "."], ["demo"]])
def test_without_a_network_sharing_ends_in_one_line(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: list[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    monkeypatch.setattr(socket, "socket", FakeProbe(None))
    result = CliRunner().invoke(main, [*command, "--share"])
    assert result.exit_code == 2
    assert result.stderr.splitlines()[-1].startswith("no local network is there")


def test_a_wish_for_a_plate_goes_to_the_set(tmp_path: Path) -> None:
    outbox: Any = queue.SimpleQueue()
    with serve.LivePage(tmp_path, outbox, name="evening") as page:
        page._feed.add(row("/evening/empty.dng", plate=True))
        sent = {"origin": page.address.rstrip("/"), "x-inspector": "page"}
        wish = {"frame": keys(page._feed)[0]}
        assert post(f"{page.address}plate", json=wish, headers=sent).status_code == 202
    assert outbox.get_nowait() == UsePlate("/evening/empty.dng")
