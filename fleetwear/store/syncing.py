"""Files that are on the disk, and not only promised to be, when a function returns."""

from __future__ import annotations

import hashlib
import os
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from typing import BinaryIO

_PIECE = 1 << 20


def sync(path: Path) -> None:
    """Have the system write a file, or a folder's list of names, to the disk."""
    descriptor = os.open(path, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def pour(source: BinaryIO, target: Callable[[bytes], object] | None = None) -> tuple[int, str]:
    """Read a file to its end, handing each piece to `target`; return its size in bytes and its SHA-256."""
    digest = hashlib.sha256()
    size = 0
    while piece := source.read(_PIECE):
        digest.update(piece)
        size += len(piece)
        if target is not None:
            target(piece)
    return size, digest.hexdigest()


def copy_synced(source: BinaryIO, target: Path) -> tuple[int, str]:
    """Copy an open file to a new one, wait until it is on the disk, and return its size and SHA-256."""
    with target.open("xb") as file:
        told = pour(source, file.write)
        file.flush()
        os.fsync(file.fileno())
    return told


def write_synced(text: str, target: Path) -> None:
    """Write a new small file and wait until it is on the disk."""
    with target.open("x", encoding="utf-8") as file:
        file.write(text)
        file.flush()
        os.fsync(file.fileno())
