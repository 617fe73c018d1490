"""XMP sidecars for the retoucher: verdict and reason beside copies of the frames.

The packet follows ISO 16684-1: dc:description and xmp:Label, nothing else. Copies and sidecars go
into the report folder; the hot folder is only read, and no file that is there is ever replaced.
"""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path
from xml.sax.saxutils import escape

from inspector.files import PART, write_whole
from inspector.recognise import said_of_pair
from inspector.record import Row
from inspector.report.lettering import clean

COPIES = "copies"

PACKET = """\
<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>
<x:xmpmeta xmlns:x="adobe:ns:meta/">
 <rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">
  <rdf:Description rdf:about=""
    xmlns:dc="http://purl.org/dc/elements/1.1/"
    xmlns:xmp="http://ns.adobe.com/xap/1.0/">
   <xmp:Label>{label}</xmp:Label>
   <dc:description>
    <rdf:Alt>
     <rdf:li xml:lang="x-default">{description}</rdf:li>
    </rdf:Alt>
   </dc:description>
  </rdf:Description>
 </rdf:RDF>
</x:xmpmeta>
<?xpacket end="w"?>
"""


def packet(row: Row) -> bytes:
    """The XMP packet of one frame."""
    texts = [clean(r["text"]) for r in row.record["reasons"] if r["text"]]
    advice = next((clean(r["advice"]) for r in row.record["reasons"] if r["advice"]), None)
    pair = said_of_pair(row.record)
    neighbour = clean(pair[:1].upper() + pair[1:]) if pair else None
    said = [t.rstrip(".") + "." for t in (neighbour, *texts, advice) if t]
    description = " ".join(said) or "Background white, edge clean, subject deep enough."
    return PACKET.format(label=row.verdict, description=escape(description)).encode("utf-8")


def write_sidecars(rows: Sequence[Row], folder: Path) -> Iterator[str]:
    """Copy each readable frame into the report folder and put its sidecar beside it.

    Yields one sentence for each frame that got none, and why.

    Raises
    ------
    OSError
        If the copies would not fit; nothing was copied then.
    """
    frames = [row for row in rows if row.verdict != "unreadable"]
    targets = dict(zip((row.path for row in frames), _targets(frames, folder), strict=True))
    _check_room(targets, folder)
    for row in frames:
        target = targets[row.path]
        sidecar = target.with_suffix(".xmp")
        if sidecar.exists():
            yield f"{sidecar}: there already, left as it is"
            continue
        try:
            _copy(Path(row.path), target)
            write_whole(sidecar, packet(row))
        except OSError as error:
            yield f"{row.path}: no copy and no sidecar ({error.strerror})"


def _targets(rows: Sequence[Row], folder: Path) -> list[Path]:
    """Where each copy goes: under ``copies`` as it lay under the folder common to all."""
    if not rows:
        return []
    common = os.path.commonpath([Path(row.path).parent for row in rows])
    return [folder / COPIES / Path(row.path).relative_to(common) for row in rows]


def _check_room(targets: dict[str, Path], folder: Path) -> None:
    missing = [Path(p) for p, target in targets.items() if not target.exists()]
    needed = sum(p.stat().st_size for p in missing if p.is_file())
    free = shutil.disk_usage(folder).free
    if needed > free:
        why = (
            f"the copies need {needed / 1e9:.1f} GB and {free / 1e9:.1f} GB are free; "
            "make room, or write the report without sidecars"
        )
        raise OSError(errno.ENOSPC, why, str(folder))


def _copy(source: Path, target: Path) -> None:
    """Copy whole or not at all, and never over a file that is there."""
    if target.exists():
        return
    target.parent.mkdir(parents=True, exist_ok=True)
    part = target.with_name(target.name + PART)
    try:
        shutil.copyfile(source, part)
        shutil.copystat(source, part)
        part.rename(target)
    finally:
        part.unlink(missing_ok=True)
