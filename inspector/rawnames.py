"""Which files are frames, and which lie beside them, by their names."""

from __future__ import annotations

from pathlib import Path

RAW_SUFFIXES = (
    *(".3fr", ".arw", ".bay", ".cap", ".cr2", ".cr3", ".crw", ".dcr", ".dng", ".erf", ".fff"),
    *(".gpr", ".iiq", ".k25", ".kdc", ".mdc", ".mef", ".mos", ".mrw", ".nef", ".nrw", ".orf"),
    *(".ori", ".pef", ".ptx", ".raf", ".raw", ".rw2", ".rwl", ".sr2", ".srf", ".srw", ".x3f"),
)
COMPANION_SUFFIXES = (
    *(".avif", ".heic", ".heif", ".hif", ".jpe", ".jpeg", ".jpg", ".png", ".tif", ".tiff"),
    *(".thm", ".wav", ".xmp"),
)


def is_raw_name(path: Path | str) -> bool:
    """Whether a file of this name is taken for a raw frame. Hidden files never are."""
    path = Path(path)
    return path.suffix.lower() in RAW_SUFFIXES and not path.name.startswith(".")


def is_companion_name(path: Path | str) -> bool:
    """Whether the name is that of a picture or note which cameras write beside the raw file."""
    path = Path(path)
    return path.suffix.lower() in COMPANION_SUFFIXES and not path.name.startswith(".")
