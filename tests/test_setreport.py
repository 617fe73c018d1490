"""The report of a set: everything in one page, names are data, nothing is overwritten."""

from __future__ import annotations

import base64
import csv
import json
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree

import cv2
import numpy as np
import pytest
from click.testing import CliRunner
from scenes import SCENES

from inspector.cli import main
from inspector.files import Stamp
from inspector.inspect import record, unreadable
from inspector.recognise import Fall, as_under_frame
from inspector.record import Row, Store
from inspector.report import charts, clipmap
from inspector.report.extras import extras
from inspector.report.layout import arrange
from inspector.report.setreport import newest, write_report
from inspector.report.sidecars import write_sidecars
from inspector.report.thumbnails import thumbnail
from inspector.report.webpage import page

NAMES = ("plate", "clean", "portrait", "spill", "wall_falloff", "misfire")


@cache
def record_text(scene: str) -> str:
    i = SCENES[scene]()
    return json.dumps(record(i) | extras(i))


@cache
def clip_map(scene: str) -> bytes:
    return clipmap.jpeg(SCENES[scene]())


def row(number: int, scene: str, path: str, *, minute: int | None = None) -> Row:
    made = json.loads(record_text(scene))
    made["frame"] |= {"path": path, "taken_at": None}
    if minute is not None:
        made["frame"]["taken_at"] = f"2024-05-04T19:{minute:02d}:00"
    return Row(path, Stamp(4, number), made, id=number)


@pytest.fixture
def rows() -> list[Row]:
    return [
        row(n, name, f"/evening/fencer_{n:04d}.dng", minute=3 * n)
        for n, name in enumerate(NAMES, start=1)
    ]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A report folder of a set of which every frame still lies in its hot folder."""
    hot, report = tmp_path / "evening", tmp_path / "evening-report"
    hot.mkdir()
    (report / "maps").mkdir(parents=True)
    rows = []
    for n, name in enumerate(NAMES, start=1):
        path = hot / f"fencer_{n:04d}.dng"
        path.write_bytes(b"raw %d" % n)
        (report / "maps" / f"{n}.jpg").write_bytes(clip_map(name))
        rows.append(replace(row(n, name, str(path), minute=n), clip_map=f"maps/{n}.jpg"))
    broken = unreadable(str(hot / "fencer_9.dng"), "cut short", "take it again")
    rows.append(Row(str(hot / "fencer_9.dng"), Stamp(4, 9), broken))
    store = Store(report)
    store.add(rows)
    store.close()
    return report


class Page(HTMLParser):
    """What a browser would load or run, and the text it would show."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.loads: list[str] = []
        self.text = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        names = ("src", "href", "xlink:href", "data", "action", "srcset")
        self.loads += [value or "" for name, value in attrs if name in names]
        assert not any(name.startswith("on") for name, _ in attrs)

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_page_holds_all_it_shows(folder: Path) -> None:
    text = write_report(folder).page.read_text("utf-8")
    found = Page(text)
    assert not {"script", "link", "iframe", "object", "form"} & set(found.tags)
    assert all(load.startswith(("data:image/jpeg", "#")) for load in found.loads)
    assert found.tags.count("img") == len(NAMES)
    assert not re.search(r"url\((?!#|&quot;#)", text)
    assert "@import" not in text
    assert "default-src 'none'" in text


def test_the_tally_and_the_lists_agree_with_the_record(folder: Path) -> None:
    text = Page(write_report(folder).page.read_text("utf-8")).text
    assert "3 pass" in text
    assert "3 warn" in text
    assert "1 unreadable" in text
    keepers = text[text.index("Keepers") : text.index("To retouch")]
    assert "fencer_0002.dng" in keepers
    assert "fencer_0003.dng" in keepers
    assert "fencer_0001.dng" not in keepers  # the plate
    assert "fencer_0004.dng" not in keepers
    retouch = text[text.index("To retouch") : text.index("Contact sheet")]
    assert "fencer_0004.dng" in retouch
    assert "Turn the background down" in retouch
    assert "Cut short." in retouch


def test_an_under_frame_is_listed_apart_from_those_that_failed(
    rows: list[Row], tmp_path: Path
) -> None:
    """Whatever kind of frame lies under another: here the one with the dim wall."""
    for sure, count in ((True, "2 warn"), (False, "3 warn")):
        below = as_under_frame(rows[4].record, rows[3].path, Fall(1.9, sure=sure))
        some = [*rows[:4], replace(rows[4], record=below), rows[5]]
        text = Page(page(some, tmp_path, [Path(r.path).name for r in some])).text
        said = text[text.index("To retouch") : text.index("Contact sheet")]
        assert "1.9 stops under fencer_0004.dng: an under frame of it" in said
        assert ("or a light that fell" in said) == (not sure)
        assert ("Under frames" in said) == sure
        assert count in text


def test_markup_in_a_name_stays_text(rows: list[Row], tmp_path: Path) -> None:
    odd = "/evening/<img src=x onerror=alert(1)>&\"'$x$\udc80\u202e.dng"
    bad = replace(rows[3], path=odd)
    bad.record["reasons"][0]["text"] = "<script>alert(2)</script>"
    text = page([rows[1], bad], tmp_path, ["a", odd.rpartition("/")[2]])
    text.encode("utf-8")
    found = Page(text)
    assert "script" not in found.tags
    assert "img" not in found.tags
    assert "<img src=x onerror=alert(1)>" in found.text


def test_table_and_lines_hold_every_frame(folder: Path) -> None:
    write_report(folder)
    with (folder / "report.csv").open(encoding="utf-8", newline="") as file:
        table = list(csv.DictReader(file))
    lines = [json.loads(s) for s in (folder / "report.jsonl").read_text("utf-8").splitlines()]
    assert [Path(t["path"]).name for t in table[:2]] == ["fencer_0001.dng", "fencer_0002.dng"]
    assert [t["verdict"] for t in table] == [line["verdict"] for line in lines]
    assert len(lines) == len(NAMES) + 1
    assert Path(lines[0]["frame"]["path"]).name == "fencer_0001.dng"


def test_writing_again_gives_the_same_page(folder: Path) -> None:
    first = write_report(folder).page.read_bytes()
    assert write_report(folder).page.read_bytes() == first


def test_a_file_judged_twice_counts_once_and_the_last_time(rows: list[Row]) -> None:
    again = replace(rows[0], id=9, stamp=Stamp(5, 9))
    assert [r.id for r in newest([*rows, again])] == [9, 2, 3, 4, 5, 6]


def test_frames_without_a_time_come_last_in_order_of_judgement(rows: list[Row]) -> None:
    rows[1].record["frame"]["taken_at"] = None
    assert [r.id for r in newest(reversed(rows))] == [1, 3, 4, 5, 6, 2]


def test_a_set_of_unreadable_files_still_makes_a_page(tmp_path: Path) -> None:
    only = [Row("/e/x.dng", Stamp(1, 1), unreadable("/e/x.dng", "cut short", "take it again"))]
    found = Page(page(only, tmp_path, ["x.dng"]))
    assert "1 unreadable" in found.text
    assert "Over the set" not in found.text
    assert "0 frames" in Page(page([], tmp_path, [])).text


def test_a_record_without_extras_leaves_their_figures_out(rows: list[Row], tmp_path: Path) -> None:
    for r in rows:
        del r.record["histogram"], r.record["profile"]
    text = Page(page(rows, tmp_path, [r.path for r in rows])).text
    assert "Over the set" in text
    assert "Levels" not in text
    assert "Worst edge" not in text


def test_figures_are_by_the_clock_only_if_it_tells_every_frame(rows: list[Row]) -> None:
    records = [r.record for r in rows]
    assert "19:0" in charts.over_time(records)
    records[2]["frame"]["taken_at"] = None
    assert ">frame<" in charts.over_time(records)


def test_figures_carry_nothing_from_elsewhere(rows: list[Row]) -> None:
    records = [r.record for r in rows]
    for svg in (charts.over_time(records), charts.levels(records)):
        assert svg is not None
        ElementTree.fromstring(svg)
        assert "<metadata" not in svg
        assert set(re.findall(r'https?://[^"<]+', svg)) <= {
            "http://www.w3.org/2000/svg",
            "http://www.w3.org/1999/xlink",
        }


@pytest.mark.parametrize(("name", "size"), [("clean", (6000, 4000)), ("portrait", (4000, 6000))])
def test_a_thumbnail_is_the_picture_without_the_words(
    name: str, size: tuple[int, int], tmp_path: Path
) -> None:
    (tmp_path / "map.jpg").write_bytes(clip_map(name))
    uri = thumbnail(tmp_path / "map.jpg", *size)
    assert uri is not None
    kind, _, code = uri.partition(",")
    assert kind == "data:image/jpeg;base64"
    small = cv2.imdecode(np.frombuffer(base64.b64decode(code), np.uint8), cv2.IMREAD_COLOR)
    assert small is not None
    h, w = small.shape[:2]
    assert max(h, w) <= 420
    assert w / h == pytest.approx(size[0] / size[1], rel=0.01)
    whole = clipmap.picture(SCENES[name](), arrange(*size).picture_size)
    same = cv2.resize(whole, (w, h), interpolation=cv2.INTER_AREA)
    assert np.abs(small.astype(int) - same).mean() < 4


def test_a_file_that_is_no_clip_map_gives_no_thumbnail(tmp_path: Path) -> None:
    (tmp_path / "x.jpg").write_bytes(b"not a picture")
    (tmp_path / "e.jpg").write_bytes(b"")
    assert thumbnail(tmp_path / "x.jpg", 6, 4) is None
    assert thumbnail(tmp_path / "e.jpg", 6, 4) is None
    assert thumbnail(tmp_path / "gone.jpg", 6, 4) is None


def test_a_clip_map_outside_the_report_folder_is_not_read(rows: list[Row], tmp_path: Path) -> None:
    inner = tmp_path / "report"
    inner.mkdir()
    (tmp_path / "elsewhere.jpg").write_bytes(clip_map("clean"))
    out = replace(rows[1], clip_map="../elsewhere.jpg")
    assert "img" not in Page(page([out], inner, ["x"])).tags


XMP = {
    "rdf": "http://www.w3.org/1999/02/22-rdf-syntax-ns#",
    "dc": "http://purl.org/dc/elements/1.1/",
    "xmp": "http://ns.adobe.com/xap/1.0/",
}
"""Name spaces of ISO 16684-1."""


def test_sidecars_stand_beside_copies_and_say_verdict_and_reason(folder: Path) -> None:
    hot = folder.parent / "evening"
    before = {p: p.read_bytes() for p in hot.iterdir()}
    assert list(write_sidecars(write_report(folder).rows, folder)) == []
    assert {p: p.read_bytes() for p in hot.iterdir()} == before
    copies = sorted(p.name for p in (folder / "copies").iterdir())
    assert copies[:2] == ["fencer_0001.dng", "fencer_0001.xmp"]
    assert len(copies) == 2 * len(NAMES)  # none of the unreadable one
    assert (folder / "copies" / "fencer_0004.dng").read_bytes() == b"raw 4"
    tree = ElementTree.parse(folder / "copies" / "fencer_0004.xmp")
    assert tree.findtext(".//xmp:Label", namespaces=XMP) == "warn"
    said = tree.findtext(".//dc:description/rdf:Alt/rdf:li", namespaces=XMP)
    assert said is not None
    assert said.startswith("Turn the background down")


def test_a_sidecar_never_replaces_a_file_that_is_there(folder: Path) -> None:
    (folder / "copies").mkdir()
    mine = folder / "copies" / "fencer_0002.xmp"
    mine.write_text("my own stars")
    edited = folder / "copies" / "fencer_0003.dng"
    edited.write_bytes(b"edited")
    said = list(write_sidecars(write_report(folder).rows, folder))
    assert [s.rpartition("/")[2] for s in said] == ["fencer_0002.xmp: there already, left as it is"]
    assert mine.read_text() == "my own stars"
    assert edited.read_bytes() == b"edited"


def test_a_frame_that_is_gone_is_named_and_the_rest_goes_on(folder: Path) -> None:
    (folder.parent / "evening" / "fencer_0005.dng").unlink()
    said = list(write_sidecars(write_report(folder).rows, folder))
    assert len(said) == 1
    assert "fencer_0005.dng: no copy and no sidecar" in said[0]
    assert (folder / "copies" / "fencer_0006.xmp").exists()
    assert not list((folder / "copies").glob("*.part"))


def test_copies_that_do_not_fit_are_not_begun(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    class Full:
        free = 3

    monkeypatch.setattr("shutil.disk_usage", lambda _: Full)
    with pytest.raises(OSError, match="make room"):
        list(write_sidecars(write_report(folder).rows, folder))
    assert not (folder / "copies").exists()


def test_the_command_names_the_page(folder: Path) -> None:
    result = CliRunner().invoke(main, ["report", str(folder)])
    assert result.exit_code == 0
    assert result.stdout.strip() == str(folder / "report.html")


def test_a_folder_without_a_record_is_one_line(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["report", str(tmp_path)])
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.count("\n") == 1
    assert str(tmp_path) in result.stderr
