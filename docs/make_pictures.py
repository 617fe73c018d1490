"""Make the pictures of the documentation: ``python docs/make_pictures.py``.

The sample frames go through the same code as a set does: clip maps, the report's figure, and a
screenshot of the live page in headless Chromium where Playwright and Chromium are there.
"""

from __future__ import annotations

import queue
import shutil
import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from inspector.batch import by_one, judge_all
from inspector.lane import Outbox
from inspector.page.serve import LivePage
from inspector.record import Row, read_rows
from inspector.recorder import Recorder
from inspector.report.charts import over_time
from inspector.worker import Task, Worker

if TYPE_CHECKING:
    from playwright.sync_api import ViewportSize

HERE = Path(__file__).parent
PICTURES = HERE / "pictures"
SAMPLES = HERE.parent / "sample_frames"

CLIP_MAPS = {
    "fencing-02-plate-short-corner": "clip-map-short-corner.jpg",
    "fencing-06-spill-shoulder-and-mask": "clip-map-spill.jpg",
    "fencing-08-left-wall-bouncing-in": "clip-map-left-wall.jpg",
}
SHOWN = "fencing-06-spill-shoulder-and-mask"
"""The frame that the live page is pictured with."""
PAGE_SIZE: ViewportSize = {"width": 1440, "height": 960}
PICTURES_LOADED = "Array.from(document.images).every((i) => i.complete && i.naturalWidth > 0)"


def main() -> None:
    """Judge the sample frames, and make every picture of them."""
    PICTURES.mkdir(exist_ok=True)
    with tempfile.TemporaryDirectory() as home:
        report = Path(home) / "poster evening"
        rows = judge_samples(report)
        made: list[Path | None] = [
            copy_clip_map(row, report) for row in rows if Path(row.path).stem in CLIP_MAPS
        ]
        made += [draw_evening(rows), picture_page(report)]
    for path in made:
        if path is not None:
            print(f"{path.relative_to(HERE.parent)}: {path.stat().st_size // 1000} kB")


def judge_samples(report: Path) -> list[Row]:
    """The record of the sample frames, stored in a report folder."""
    recorder = Recorder(report)
    try:
        with Worker() as worker:
            frames = sorted(SAMPLES.glob("*.dng"))
            for _ in judge_all(frames, judging=by_one(worker), task=Task(""), recorder=recorder):
                recorder.flush()
    finally:
        recorder.close()
    return list(read_rows(report))


def copy_clip_map(row: Row, report: Path) -> Path:
    """Copy one clip map out of the report folder."""
    assert row.clip_map is not None
    target = PICTURES / CLIP_MAPS[Path(row.path).stem]
    shutil.copyfile(report / row.clip_map, target)
    return target


def draw_evening(rows: list[Row]) -> Path:
    """The report's figure of the evening, as a file of its own."""
    target = PICTURES / "report-evening.svg"
    figure = over_time([row.record for row in rows])
    lines = [line.rstrip() for line in figure.splitlines()]
    target.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return target


def picture_page(report: Path) -> Path | None:
    """A screenshot of the live page with the whole set; None where no browser is there."""
    chromium = shutil.which("chromium") or shutil.which("google-chrome")
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        chromium = None
    if chromium is None:
        print("the live page: left as it is; its picture needs Playwright and Chromium")
        return None
    target = PICTURES / "live-page.png"
    outbox: Outbox = queue.SimpleQueue()
    with (
        LivePage(report, outbox, name="Poster evening") as live,
        sync_playwright() as playwright,
        playwright.chromium.launch(executable_path=chromium, args=["--no-sandbox"]) as browser,
    ):
        page = browser.new_page(viewport=PAGE_SIZE)
        page.goto(live.address)
        page.get_by_role("button", name=SHOWN).click()
        page.locator("#caption", has_text=SHOWN).wait_for()
        page.wait_for_function(PICTURES_LOADED)
        page.screenshot(path=target)
    return target


if __name__ == "__main__":
    main()
