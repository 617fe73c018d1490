"""The live page in a real browser, Debian's Chromium without a window."""

from __future__ import annotations

import queue
import re
import shutil
import time
from collections.abc import Iterator
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

import httpx2
import numpy as np
import pytest
import tifffile
from axe_playwright_python.sync_playwright import Axe
from pages import live, row
from playwright.sync_api import Browser, Page, expect, sync_playwright

from inspector.decode import decode
from inspector.lane import Judged, Outbox, PlateTaken, Revised, UsePlate
from inspector.page import serve
from inspector.page.serve import LivePage, ShareError
from inspector.recognise import Fall, as_under_frame
from inspector.record import Row, Store, read_rows
from inspector.worker import Task, Worker

CHROMIUM = "/usr/bin/chromium"
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
)
SAMPLES = Path(__file__).parent.parent.parent / "sample_frames"
MARKUP = "<img src=x onerror=\"document.body.dataset.owned='yes'\"><b>bold&amp;.dng"
PATIENCE_MS = 30_000
"""How long something may take on a busy machine before it counts as missing; nothing is timed."""
SIZES = {"phone": (390, 844), "tablet": (820, 1180), "desk": (1440, 900)}

pytestmark = pytest.mark.skipif(
    not Path(CHROMIUM).exists(), reason=f"no browser at {CHROMIUM}; Debian's package is chromium"
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    expect.set_options(timeout=PATIENCE_MS)
    with sync_playwright() as playwright:
        found = playwright.chromium.launch(executable_path=CHROMIUM, args=list(FLAGS))
        yield found
        found.close()


@pytest.fixture(scope="module")
def judged(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, Row]]:
    """A report folder with the sample frames judged: rows by the frame's number."""
    home = tmp_path_factory.mktemp("evening")
    report = home / "report"
    (report / "maps").mkdir(parents=True)
    rows = {}
    with Worker() as worker:
        for sample in sorted(SAMPLES.glob("*.dng")):
            path = Path(shutil.copy2(sample, home))
            clip_map = f"maps/{path.stem}.jpg"
            reply = worker.judge(Task(str(path), clip_map=str(report / clip_map)))
            rows[path.name[8:10]] = Row(str(path), row(path).stamp, reply.record, clip_map)
    return report, rows


class Show:
    """A live page, its set, and a browser's page that looks at it."""

    def __init__(self, served: LivePage, page: Page, rows: dict[str, Row], outbox: Outbox) -> None:
        self.served, self.page, self.rows, self.outbox = served, page, rows, outbox

    def land(self, *numbers: str) -> None:
        """Frames are judged."""
        self.show(*(self.rows[number] for number in numbers))

    def show(self, *rows: Row) -> None:
        """Frames of these rows are judged."""
        for _ in self.served.follow(Judged(each) for each in rows):
            pass

    def name(self, number: str) -> str:
        return Path(self.rows[number].path).name

    def shown(self) -> Any:
        return expect(self.page.locator("#caption .name"))

    def tap(self, x: float, y: float) -> None:
        picture = self.page.locator("#stage img")
        box = picture.bounding_box()
        assert box is not None
        picture.click(position={"x": x * box["width"], "y": y * box["height"]})


@pytest.fixture
def show(judged: tuple[Path, dict[str, Row]], browser: Browser) -> Iterator[Show]:
    report, rows = judged
    outbox: Outbox = queue.SimpleQueue()
    with LivePage(report, outbox, name="evening") as served:
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        problems: list[str] = []
        page.on("pageerror", lambda error: problems.append(str(error)))
        page.on("console", lambda said: problems.extend([said.text] * (said.type == "error")))
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        page.goto(served.address)
        yield Show(served, page, rows, outbox)
        page.close()
        assert all(url.startswith(served.address) for url in asked)
        expected = ("ERR_CONNECTION_", "ERR_INTERNET_DISCONNECTED", "409 (Conflict)")
        assert [p for p in problems if not any(each in p for each in expected)] == []


def test_it_waits_for_the_first_frame(show: Show) -> None:
    expect(show.page.locator("#word")).to_have_text("Waiting")
    show.shown().to_contain_text("first frame")
    expect(show.page.locator("#hold")).to_be_disabled()


def test_verdict_picture_and_figures_change_while_frames_land(show: Show) -> None:
    page = show.page
    picture = page.locator("#stage img")
    seen = []
    for number, verdict in (("03", "Pass"), ("06", "Warn"), ("09", "Warn"), ("04", "Pass")):
        show.land(number)
        show.shown().to_have_text(show.name(number))
        expect(page.locator("#word")).to_have_text(verdict)
        expect(picture).to_have_attribute("alt", f"Clip map of {show.name(number)}: {verdict}")
        assert picture.evaluate("image => image.naturalWidth") > 500
        seen.append((page.inner_text("#figures"), picture.get_attribute("src")))
        size = picture.evaluate(
            "i => [i.clientWidth / i.clientHeight, i.naturalWidth / i.naturalHeight]"
        )
        assert size[0] == pytest.approx(size[1], rel=0.01)
    assert len(set(seen)) == 4
    assert "spilled" in seen[1][0]
    assert "None" in seen[2][0]
    expect(page.locator("#strip button")).to_have_count(4)
    first = page.locator("#strip button").first
    expect(first).to_have_attribute("title", show.name("04"))
    expect(first).to_have_attribute("aria-current", "true")
    expect(page.locator("#tally")).to_have_text("4 frames · 2 pass · 2 warn")


def test_the_window_stands_to_the_day(show: Show) -> None:
    """Marks for every third of a stop; today's exposure in or out as the record says."""
    for number in ("03", "10"):
        show.land(number)
        show.shown().to_have_text(show.name(number))
        ends = show.rows[number].record["window"]
        inside = ends["low_ev"] <= 0 <= (ends["high_ev"] or 0)
        side = "inside" if inside else "outside"
        expect(show.page.locator("#window .side")).to_have_text(side)
        expect(show.page.locator("#scale .tick")).to_have_count(19)
        assert show.page.locator("#scale .today.out").count() == (not inside)
        box = show.page.locator("#scale .open").bounding_box()
        today = show.page.locator("#scale .today").bounding_box()
        assert box is not None
        assert today is not None
        middle = today["x"] + today["width"] / 2
        assert (box["x"] < middle < box["x"] + box["width"]) == inside


def test_a_burst_never_flickers(show: Show) -> None:
    """WCAG 2.2, 2.3.1: at most three flashes a second; a flash is two changes."""
    show.land("03")
    show.shown().to_have_text(show.name("03"))
    show.page.evaluate(
        """() => {
            window.swaps = [];
            new MutationObserver(() => swaps.push(performance.now()))
                .observe(document.getElementById("stage"), { childList: true });
        }"""
    )
    for n in range(10):
        source = show.rows["09" if n % 2 else "03"]
        show.show(Row(f"/evening/{n}.dng", source.stamp, source.record, source.clip_map))
        time.sleep(0.06)
    show.shown().to_have_text("9.dng")  # the newest, in the end
    swaps = sorted(set(map(round, show.page.evaluate("swaps"))))
    assert len(swaps) >= 2
    for begin in swaps:
        assert sum(begin <= each < begin + 1000 for each in swaps) <= 6


def test_a_name_that_looks_like_markup_stays_text(show: Show) -> None:
    source = show.rows["06"]
    show.show(Row(f"/evening/{MARKUP}", source.stamp, source.record, source.clip_map))
    show.shown().to_have_text(MARKUP)
    page = show.page
    page.click("#pin")
    expect(page.locator("#pinned .name")).to_have_text(MARKUP)
    expect(page.locator("#strip .name")).to_have_text(MARKUP)
    assert page.locator("b").count() == 0
    assert page.locator('img[src="x"]').count() == 0
    assert page.evaluate("document.body.dataset.owned") is None


def test_two_taps_give_the_ratio_of_the_raw_data(show: Show) -> None:
    """The same patches from the file by tifffile; the frame is stored as it is viewed, turned."""
    number = "12"
    show.land(number)
    show.shown().to_have_text(show.name(number))
    page, path = show.page, Path(show.rows[number].path)
    at = [(0.31, 0.62), (0.58, 0.6)]
    with page.expect_response(re.compile("points")) as one:
        show.tap(*at[0])
    assert len(one.value.json()["points"]) == 1
    with page.expect_response(re.compile("points")) as two:
        show.tap(*at[1])
    asked = httpx2.QueryParams(two.value.url.partition("?")[2])
    frame, stored = decode(path), tifffile.imread(path).astype(float)
    ev = []
    for x, y, tap in zip(asked.get_list("x"), asked.get_list("y"), at, strict=True):
        assert float(x) == pytest.approx(tap[0] * frame.size[0], abs=2)
        assert float(y) == pytest.approx(tap[1] * frame.size[1], abs=2)
        row_, column = int(float(x)) // 2 * 2, int(frame.size[1] - float(y)) // 2 * 2  # turned
        cells = stored[row_ - 4 : row_ + 6, column - 4 : column + 6]
        green = np.mean([cells[0::2, 1::2], cells[1::2, 0::2]])
        ev.append(float(np.log2((green - frame.black[1]) / (16383 - frame.black[1]))))
    expect(page.locator(".reading")).to_have_count(3)
    readings = page.locator(".reading strong").all_inner_texts()
    for text, value in zip(readings, ev, strict=False):
        assert text == f"{-value:.1f} stops under white"
    stops, times = re.findall(r"[\d.]+", readings[2])[:2]
    assert float(stops) == pytest.approx(abs(ev[0] - ev[1]), abs=0.06)
    assert float(times) == pytest.approx(2 ** abs(ev[0] - ev[1]), abs=0.06)
    expect(page.locator("#stage .point")).to_have_count(2)
    page.click("#clear")
    expect(page.locator("#stage .point")).to_have_count(0)
    expect(page.locator("#readings")).to_be_hidden()


def test_a_clipped_point_says_at_least(show: Show) -> None:
    show.land("11")
    show.shown().to_have_text(show.name("11"))
    show.tap(0.8, 0.2)
    expect(show.page.locator(".reading strong")).to_contain_text("at least")


def test_points_by_keyboard(show: Show) -> None:
    show.land("12")
    show.shown().to_have_text(show.name("12"))
    show.page.focus("#stage")
    for key in ("ArrowLeft", "ArrowUp", "Enter", "Shift+ArrowRight", "Enter"):
        show.page.keyboard.press(key)
    expect(show.page.locator(".reading")).to_have_count(3)
    show.page.keyboard.press("Escape")
    expect(show.page.locator("#readings")).to_be_hidden()


def test_hold_keeps_the_frame_and_lets_go_to_the_newest(show: Show) -> None:
    page = show.page
    show.land("03")
    show.shown().to_have_text(show.name("03"))
    page.click("#hold")
    expect(page.locator("#hold")).to_have_attribute("aria-pressed", "true")
    show.land("06", "09")
    expect(page.locator("#behind")).to_have_text("2 newer")
    show.shown().to_have_text(show.name("03"))
    page.click("#hold")
    show.shown().to_have_text(show.name("09"))
    expect(page.locator("#behind")).to_have_text("")


def test_a_frame_of_the_strip_is_held_and_can_be_pinned_beside_the_newest(show: Show) -> None:
    page = show.page
    show.land("03", "06")
    show.shown().to_have_text(show.name("06"))
    page.click(f'#strip button[title="{show.name("03")}"]')
    show.shown().to_have_text(show.name("03"))
    page.click("#pin")
    page.click("#hold")
    expect(page.locator("#shown .name")).to_have_text(show.name("06"))
    expect(page.locator("#pinned .name")).to_have_text(show.name("03"))
    expect(page.locator("#pinned img")).to_be_visible()
    show.land("09")
    expect(page.locator("#shown .name")).to_have_text(show.name("09"))
    expect(page.locator("#pinned .name")).to_have_text(show.name("03"))
    page.click(f'#strip button[title="{show.name("03")}"]')
    page.click("#pin")
    expect(page.locator("#pinned")).to_be_hidden()


def laid_under(show: Show) -> tuple[Judged, Revised]:
    """Frame 10 found to lie under frame 11, which is judged again with it."""
    over, short = show.rows["11"], show.rows["10"]
    below = as_under_frame(short.record, over.path, Fall(1.9, sure=True))
    laid = over.record | {"under": {"frame": show.name("10"), "stops": 1.9}}
    laid["backdrop"] = over.record["backdrop"] | {"ev_p50": 1.64}
    laid["clip"] = over.record["clip"] | {"ceiling_ev": over.record["clip"]["ceiling_ev"] + 1.9}
    revised = Revised(replace(over, record=laid))
    return Judged(replace(short, record=below), revised=revised), revised


def test_an_under_frame_is_none_that_failed(show: Show) -> None:
    page = show.page
    show.land("11")
    show.shown().to_have_text(show.name("11"))
    page.click("#pin")
    for _ in show.served.follow(iter(laid_under(show))):
        pass
    expect(page.locator("#tally")).to_have_text("2 frames · 1 warn · 1 under")
    expect(page.locator("#strip button")).to_have_count(2)
    expect(page.locator("#reason")).to_have_text(
        f"With {show.name('10')} under it, background 1.6 stops over white."
    )
    show.shown().to_have_text(show.name("11"))
    expect(page.locator("#pin")).to_have_text("Unpin")
    page.click(f'#strip button[title="{show.name("10")}"]')
    expect(page.locator("#word")).to_have_text("Under")
    expect(page.locator("#advice")).to_have_text(
        f"1.9 stops under {show.name('11')}: an under frame of it."
    )


def test_a_held_frame_that_is_judged_again_stays_and_is_the_new_one(show: Show) -> None:
    page = show.page
    show.land("11")
    show.shown().to_have_text(show.name("11"))
    page.click("#hold")
    before = page.locator("#stage img").get_attribute("src") or ""
    for _ in show.served.follow(iter(laid_under(show))):
        pass
    expect(page.locator("#reason")).to_contain_text("under it")
    expect(page.locator("#stage img")).not_to_have_attribute("src", before)
    expect(page.locator("#hold")).to_have_attribute("aria-pressed", "true")


def test_the_strip_by_keyboard(show: Show) -> None:
    show.land("01", "03", "06")
    show.shown().to_have_text(show.name("06"))
    show.page.locator("#strip button").first.focus()
    show.page.keyboard.press("ArrowRight")
    show.page.keyboard.press("Enter")
    show.shown().to_have_text(show.name("03"))
    assert show.page.locator('#strip button[tabindex="0"]').count() == 1


def test_a_frame_is_taken_as_the_plate(show: Show) -> None:
    page = show.page
    show.land("01")
    show.shown().to_have_text(show.name("01"))
    with page.expect_response(re.compile("plate")) as answer:
        page.click("#use-plate")
    assert answer.value.status == 202
    assert show.outbox.get(timeout=60) == UsePlate(show.rows["01"].path)
    for _ in show.served.follow(iter([PlateTaken("taken", show.rows["01"].path)])):
        pass
    expect(page.locator("#plate")).to_have_text(f"Plate: {show.name('01')}")
    expect(page.locator("#strip .role")).to_have_text("plate")
    show.land("03")
    show.shown().to_have_text(show.name("03"))
    page.click("#use-plate")
    expect(page.locator("#note")).to_contain_text("somebody seems to stand in this frame")


def test_after_a_lost_connection_it_catches_up_by_itself(
    judged: tuple[Path, dict[str, Row]], browser: Browser, monkeypatch: pytest.MonkeyPatch
) -> None:
    report, rows = judged
    page = browser.new_page()
    with live(report) as served:
        monkeypatch.setattr(serve, "PORT", int(served.address.rstrip("/").rpartition(":")[2]))
        served._feed.add(rows["03"])
        page.goto(served.address)
        expect(page.locator("#word")).to_have_text("Pass")
    expect(page.locator("#link")).to_contain_text("Connection lost")
    with live(report) as served:
        for number in ("03", "06", "09"):
            served._feed.add(rows[number])
        expect(page.locator("#strip button")).to_have_count(3)
        expect(page.locator("#caption .name")).to_have_text(Path(rows["09"].path).name)
        expect(page.locator("#link")).to_have_text("")
    page.close()


def test_a_short_break_costs_nothing(show: Show) -> None:
    show.land("03")
    show.shown().to_have_text(show.name("03"))
    show.page.context.set_offline(True)
    show.land("06", "09")
    show.page.context.set_offline(False)
    show.shown().to_have_text(show.name("09"))
    expect(show.page.locator("#strip button")).to_have_count(3)


def test_the_sound_is_off_at_first(show: Show) -> None:
    """Notes are counted where the page makes them; nothing is heard in a test."""
    page = show.page
    page.evaluate(
        """() => {
            window.notes = 0;
            window.OscillatorNode = class extends OscillatorNode {
                start(...when) { window.notes += 1; super.start(...when); }
            };
        }"""
    )
    switch = page.get_by_role("switch", name="Sound")
    expect(switch).not_to_be_checked()
    show.land("03")
    show.shown().to_have_text(show.name("03"))
    assert page.evaluate("notes") == 0
    switch.click()
    expect(switch).to_be_checked()
    show.land("04")
    show.shown().to_have_text(show.name("04"))
    passes = page.evaluate("notes")
    show.land("06")
    show.shown().to_have_text(show.name("06"))
    assert (passes, page.evaluate("notes")) == (1, 3)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("state", ["waiting", "warn", "misfire", "pinned"])
def test_axe_finds_nothing_serious(
    judged: tuple[Path, dict[str, Row]], browser: Browser, size: str, state: str
) -> None:
    """axe-core (Deque Systems) with all its rules, WCAG 2.2 A and AA among them."""
    report, rows = judged
    frames = {"waiting": (), "misfire": ("01", "09")}.get(state, ("01", "03", "06"))
    width, height = SIZES[size]
    with live(report) as served:
        page = browser.new_page(viewport={"width": width, "height": height})
        for number in frames:
            served._feed.add(rows[number])
        page.goto(served.address)
        if frames:
            expect(page.locator("#stage img")).to_be_visible()
        if state == "pinned":
            page.click("#pin")
            page.locator("#stage img").click()
            expect(page.locator(".reading")).to_have_count(1)
        found = Axe().run(page)
        serious = [
            (each["id"], [node["target"] for node in each["nodes"]])
            for each in found.response["violations"]
            if each["impact"] in ("serious", "critical", "moderate")
        ]
        assert serious == []
        page.close()


@pytest.mark.parametrize("size", SIZES)
def test_nothing_leaves_the_screen_sideways(
    judged: tuple[Path, dict[str, Row]], browser: Browser, size: str
) -> None:
    report, rows = judged
    width, height = SIZES[size]
    with live(report) as served:
        page = browser.new_page(viewport={"width": width, "height": height})
        for number in rows:
            served._feed.add(rows[number])
        page.goto(served.address)
        for number in rows:
            page.locator(f'#strip button[title="{Path(rows[number].path).name}"]').click()
            expect(page.locator("#caption .name")).to_have_text(Path(rows[number].path).name)
            assert page.evaluate("document.documentElement.scrollWidth") <= width
            for part in ("#word", "#figures", "#advice", "#scale", "#controls"):
                for element in page.locator(part).all():
                    box = element.bounding_box()
                    assert box is None or (box["x"] >= 0 and box["x"] + box["width"] <= width + 1)
        page.close()


@pytest.mark.parametrize("size", SIZES)
def test_however_long_the_advice_it_is_written_out(
    judged: tuple[Path, dict[str, Row]], browser: Browser, size: str
) -> None:
    report, rows = judged
    source = rows["06"]
    reason = {"code": "spill", "text": "spill", "advice": "flag the edges with black, " * 12}
    record = source.record | {"reasons": [reason]}
    with live(report) as served:
        width, height = SIZES[size]
        page = browser.new_page(viewport={"width": width, "height": height})
        served._feed.add(Row(source.path, source.stamp, record, source.clip_map))
        page.goto(served.address)
        expect(page.locator("#advice")).to_contain_text("Flag the edges")
        hidden = page.locator("#say").evaluate("say => say.scrollHeight - say.clientHeight")
        assert hidden <= 1
        page.close()


def test_motion_is_left_out_for_who_wants_none(
    judged: tuple[Path, dict[str, Row]], browser: Browser
) -> None:
    with live(judged[0]) as served:
        page = browser.new_page(reduced_motion="reduce")
        page.goto(served.address)
        moving = page.evaluate(
            """() => [...document.querySelectorAll("*")]
                .flatMap((e) => [null, "::before", "::after"].map((p) => getComputedStyle(e, p)))
                .filter((s) => s.transitionDuration !== "0s" || s.animationName !== "none")
                .length"""
        )
        assert moving == 0
        page.close()


def test_a_long_evening_is_all_there(tmp_path: Path, browser: Browser) -> None:
    """500 frames from the record: the newest is shown, the strip holds all, few pictures load."""
    with closing(Store(tmp_path)) as store:
        verdicts = ["warn" if n % 7 == 3 else "pass" for n in range(500)]
        store.add(row(f"/evening/frame-{n:03}.dng", each) for n, each in enumerate(verdicts))
    assert len(list(read_rows(tmp_path))) == 500
    with live(tmp_path) as served:
        page = browser.new_page(viewport={"width": 1440, "height": 900})
        page.goto(served.address)
        expect(page.locator("#strip button")).to_have_count(500)
        expect(page.locator("#caption .name")).to_have_text("frame-499.dng")
        expect(page.locator("#tally")).to_have_text("500 frames · 429 pass · 71 warn")
        assert page.locator("#chart .plot > *").count() < 200
        page.close()


def test_a_shared_page_opens_by_its_address(
    judged: tuple[Path, dict[str, Row]], browser: Browser
) -> None:
    report, rows = judged
    try:
        shared = live(report, share=True)
    except ShareError as error:
        pytest.skip(str(error))
    with shared as served:
        served._feed.add(rows["03"])
        context = browser.new_context()
        page = context.new_page()
        stranger = page.goto(str(served.shared_address).partition("open")[0])
        assert stranger is not None
        assert stranger.status == 403
        page.goto(str(served.shared_address))
        expect(page.locator("#word")).to_have_text("Pass")
        assert "open" not in page.url
        [cookie] = context.cookies()
        assert (cookie["httpOnly"], cookie["sameSite"]) == (True, "Strict")
        context.close()
