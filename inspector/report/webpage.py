"""The set report's page: plain HTML with everything in it, nothing from elsewhere, no script."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime
from html import escape
from importlib.resources import files
from pathlib import Path
from typing import Any

from inspector.recognise import said_of_pair
from inspector.record import Row
from inspector.report import charts, figures
from inspector.report.lettering import clean
from inspector.report.palette import BY_CODE, WARN
from inspector.report.thumbnails import thumbnail
from inspector.terminal import word

WORDS = {"pass": "pass", "warn": "warn", "under": "under frame", "unreadable": "unreadable"}
SHAPES = {
    "pass": '<circle cx="20" cy="20" r="15" fill="none" stroke="#1e1e1e" stroke-width="5"/>',
    "warn": f'<path d="M20 2 38 20 20 38 2 20Z" fill="{charts.hexed(WARN)}"/>',
    "under": '<path d="M5 9H35L20 34Z" stroke="#1e1e1e" stroke-width="4.5" fill="none"/>',
    "unreadable": '<path d="M6 6 34 34M34 6 6 34" stroke="#1e1e1e" stroke-width="5" fill="none"/>',
}
"""The clip map's own shapes."""


def page(rows: Sequence[Row], folder: Path, names: Sequence[str]) -> str:
    """The whole page; ``rows`` in order, ``names`` what each is called."""
    entries = list(zip(rows, (clean(n) for n in names), strict=True))
    parts = [
        _head(rows, folder),
        _faults(rows),
        _keepers(entries),
        _to_retouch(entries),
        _under_frames(entries),
        _contact_sheet(entries, folder),
        _charts(entries),
        _shots(rows),
    ]
    style = files("inspector.report").joinpath("report.css").read_text("utf-8")
    title = escape(clean(folder.name))
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "img-src data:; style-src 'unsafe-inline'\">\n"
        f"<title>Set report: {title}</title>\n<style>\n{style}</style>\n</head>\n<body>\n"
        + "\n".join(p for p in parts if p)
        + "\n</body>\n</html>\n"
    )


Entry = tuple[Row, str]


def _shape(verdict: str) -> str:
    return f'<svg viewBox="0 0 40 40" aria-hidden="true">{SHAPES[verdict]}</svg>'


def _verdict(verdict: str) -> str:
    return f'<span class="verdict">{_shape(verdict)}{WORDS[verdict]}</span>'


def _head(rows: Sequence[Row], folder: Path) -> str:
    counts = Counter(word(row.record) for row in rows)
    tally = "".join(
        f"<li>{_shape(v)}<span><b>{counts[v]}</b> {WORDS[v]}</span></li>"
        for v in WORDS
        if counts[v] or v in ("pass", "warn")
    )
    when = _span([row.record["frame"]["taken_at"] for row in rows])
    frames = f"{len(rows)} frame{'' if len(rows) == 1 else 's'}"
    line = ", ".join(p for p in (frames, when) if p)
    return (
        f'<header><p class="quiet">Set report</p><h1>{escape(clean(folder.name))}</h1>'
        f'<p class="quiet">{line}</p><ul class="tally">{tally}</ul></header>'
    )


def _span(times: Iterable[str | None]) -> str:
    """From the first to the last frame: 4 May 2024, 19:42 to 22:10."""
    told = sorted(t for text in times if (t := _time(text)) is not None)
    if not told:
        return ""
    first, last = told[0], told[-1]
    start = f"{first.day} {first:%B %Y}, {first:%H:%M}"
    if first.date() == last.date():
        return f"{start} to {last:%H:%M}"
    return f"{start} to {last.day} {last:%B %Y}, {last:%H:%M}"


def _time(text: str | None) -> datetime | None:
    try:
        return datetime.fromisoformat(text or "").replace(tzinfo=None)
    except ValueError:
        return None


def _faults(rows: Sequence[Row]) -> str:
    """How often each fault occurs."""
    counts = Counter(
        r["code"] for row in rows if word(row.record) != "under" for r in row.record["reasons"]
    )
    if not counts:
        return ""
    lines = "".join(
        f'<tr><td>{_swatch(code)}{escape(_fault(code))}</td><td class="number">{n}</td></tr>'
        for code, n in counts.most_common()
    )
    heads = '<tr><th>Fault</th><th class="number">Frames</th></tr>'
    return (
        f'<h2>What was wrong</h2><table class="narrow"><thead>{heads}</thead>'
        f"<tbody>{lines}</tbody></table>"
    )


def _fault(code: str) -> str:
    return str(code).replace("-", " ")


def _swatch(code: str) -> str:
    colour = charts.hexed(BY_CODE[code].rgb) if code in BY_CODE else "#b4b4b4"
    return f'<span class="swatch" style="background:{colour}"></span>'


def _to_retouch(entries: Sequence[Entry]) -> str:
    """The frames that warn and those that could not be read, each with its reasons."""
    wrong = [(r, name) for r, name in entries if word(r.record) in ("warn", "unreadable")]
    if not wrong:
        return ""
    lines = "".join(
        f'<tr><td class="name">{escape(name)}<br>{_verdict(row.verdict)}</td>'
        f"<td>{_reasons(row.record)}</td></tr>"
        for row, name in wrong
    )
    heads = "<tr><th>Frame</th><th>Reason, and what would have helped</th></tr>"
    return (
        f"<h2>To retouch or take again</h2><table><thead>{heads}</thead>"
        f"<tbody>{lines}</tbody></table>"
    )


def _reasons(record: dict[str, Any]) -> str:
    pair = said_of_pair(record)
    said = [f"<p>{_sentence(pair)}</p>"] if pair else []
    for reason in record["reasons"]:
        advice = reason["advice"]
        more = f' <span class="quiet">{_sentence(advice)}</span>' if advice else ""
        text = _sentence(reason["text"] or _fault(reason["code"]))
        said.append(f"<p>{_swatch(reason['code'])}{text}{more}</p>")
    return "".join(said)


def _sentence(text: str) -> str:
    text = escape(clean(text)).rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."


def _under_frames(entries: Sequence[Entry]) -> str:
    """The frames that lie under their neighbours."""
    items = "".join(
        f"<li>{escape(name)}: {escape(clean(str(said_of_pair(row.record))))}</li>"
        for row, name in entries
        if word(row.record) == "under"
    )
    return f"<h2>Under frames</h2><ul>{items}</ul>" if items else ""


def _keepers(entries: Sequence[Entry]) -> str:
    kept = [name for row, name in entries if row.verdict == "pass" and not row.record.get("plate")]
    if not kept:
        return ""
    items = "".join(f"<li>{escape(name)}</li>" for name in kept)
    return f'<h2>Keepers</h2><ul class="keepers">{items}</ul>'


def _charts(entries: Sequence[Entry]) -> str:
    read = [(row.record, name) for row, name in entries if row.verdict != "unreadable"]
    if not read:
        return ""
    records, names = [r for r, _ in read], [n for _, n in read]
    drawn = [
        ("Over the set", charts.over_time([r for r in records if word(r) != "under"])),
        ("Levels", charts.levels(records)),
        ("Worst edge", charts.worst_edge(records, names)),
    ]
    return "".join(f'<h2>{title}</h2><div class="chart">{svg}</div>' for title, svg in drawn if svg)


def _shots(rows: Sequence[Row]) -> str:
    """How the frames were taken: one line for each setting, in order of first use."""
    lines: dict[tuple[str, ...], list[str | None]] = {}
    for row in rows:
        if row.verdict != "unreadable":
            frame = row.record["frame"]
            lines.setdefault(_setting(frame), []).append(frame["taken_at"])
    if not lines:
        return ""
    body = "".join(
        "<tr>"
        + "".join(f"<td>{escape(clean(cell))}</td>" for cell in setting)
        + f'<td class="number">{len(times)}</td><td class="number">{_clock(times)}</td></tr>'
        for setting, times in lines.items()
    )
    heads = "".join(f"<th>{h}</th>" for h in ("Camera", "Aperture", "Shutter", "ISO"))
    heads += '<th class="number">Frames</th><th class="number">From</th>'
    return (
        f"<h2>Camera and exposure</h2><table><thead><tr>{heads}</tr></thead>"
        f"<tbody>{body}</tbody></table>"
    )


def _setting(frame: dict[str, Any]) -> tuple[str, ...]:
    aperture, shutter, iso = frame["aperture_f"], frame["shutter_s"], frame["iso"]
    return (
        frame["camera"] or "not told",
        f"f/{aperture:g}" if aperture else "–",
        figures.shutter(shutter) if shutter else "–",
        f"{iso:g}" if iso else "–",
    )


def _clock(times: Iterable[str | None]) -> str:
    told = sorted(t for text in times if (t := _time(text)) is not None)
    return f"{told[0]:%H:%M}" if told else "–"


def _contact_sheet(entries: Sequence[Entry], folder: Path) -> str:
    """Clip maps by verdict, the marked picture alone."""
    parts = []
    for verdict in ("warn", "pass", "under"):
        cells = [_cell(row, name, folder) for row, name in entries if word(row.record) == verdict]
        if cells:
            parts.append(f"<h3>{_verdict(verdict)}</h3>")
            parts.append(f'<div class="sheet">{"".join(cells)}</div>')
    return "<h2>Contact sheet</h2>" + "".join(parts) if parts else ""


def _cell(row: Row, name: str, folder: Path) -> str:
    frame = row.record["frame"]
    uri = None
    if row.clip_map is not None and _inside(folder / row.clip_map, folder):
        uri = thumbnail(folder / row.clip_map, frame["width"], frame["height"])
    image = f'<img src="{uri}" alt="">' if uri else '<span class="quiet">no clip map</span>'
    return (
        f'<figure><div class="frame">{image}</div><figcaption><b>{escape(name)}</b><br>'
        f"{_three_figures(row.record)}</figcaption></figure>"
    )


def _inside(path: Path, folder: Path) -> bool:
    return path.resolve().is_relative_to(folder.resolve())


def _three_figures(record: dict[str, Any]) -> str:
    """White, spill and depth in one line; what was not measured is left out."""
    white = record["backdrop"]["white_fraction"]
    spill = record["edge"]["spill_fraction"]
    depth = record["subject"]["depth_ev"]
    parts = [
        f"{figures.share(white)} white" if white is not None else "no background",
        f"spill {figures.share(spill, up=True)}" if spill else "",
        f"{figures.depth(depth)} stops deep" if depth is not None else "",
        "plate" if record.get("plate") else "",
    ]
    return ", ".join(p for p in parts if p)
