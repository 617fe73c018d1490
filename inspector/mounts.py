"""Which file systems send no events for what other machines write into them."""

from __future__ import annotations

import os
import sys
from pathlib import Path

NETWORK = {
    *("9p", "afpfs", "afs", "beegfs", "ceph", "cifs", "coda", "davfs", "drvfs", "glusterfs"),
    *("lustre", "nfs", "nfs4", "prl_fs", "smb2", "smb3", "smbfs", "virtiofs", "vboxsf"),
    *("vmhgfs", "webdav"),
}


def network_kind(folder: Path) -> str | None:
    """The kind of network share a folder lies on, None for a local disk or where unknown."""
    if sys.platform == "win32":
        return "network share" if os.fspath(folder.resolve()).startswith("\\\\") else None
    try:
        mounts = Path("/proc/mounts").read_text(errors="surrogateescape")
    except OSError:  # not Linux
        return None
    kind = file_system(os.path.realpath(folder), mounts)
    return kind if kind in NETWORK or kind.startswith("fuse.") else None


def file_system(path: str, mounts: str) -> str:
    """The type of file system of an absolute path, from text in the form of proc_mounts(5)."""
    best, kind = "", ""
    for line in mounts.splitlines():
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        point = _unescape(fields[1])
        inside = path == point or path.startswith(point.rstrip("/") + "/")
        if inside and len(point) >= len(best):  # of two on one point the later lies on top
            best, kind = point, fields[2]
    return kind


def _unescape(text: str) -> str:
    """Space, tab, newline and backslash stand as octal numbers there."""
    for octal, plain in (("\\040", " "), ("\\011", "\t"), ("\\012", "\n"), ("\\134", "\\")):
        text = text.replace(octal, plain)
    return text
