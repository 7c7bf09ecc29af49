"""Frames too many for memory, kept on disk between their making and their writing into the store."""

from __future__ import annotations

import tempfile
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from fleetwear.errors import StoreError

if TYPE_CHECKING:
    from collections.abc import Iterator

    import pandas as pd


@dataclass(frozen=True)
class FramesOnDisk:
    """Frames as Parquet files, one each, in the order in which they came; iterating gives the files."""

    folder: Path

    def keep(self, frame: pd.DataFrame) -> None:
        """Write a frame; an empty one is left out."""
        if not len(frame):
            return
        try:
            frame.to_parquet(self.folder / f"{len(list(self)):08d}.parquet", index=False)
        except OSError as error:
            raise _no_room(error, self.folder.parent) from error

    def frames(self) -> Iterator[pd.DataFrame]:
        """Yield the frames, one at a time."""
        import pandas as pd

        for file in self:
            yield pd.read_parquet(file)

    def __iter__(self) -> Iterator[Path]:
        return iter(sorted(self.folder.glob("*.parquet")))


@contextmanager
def frames_on_disk(beside: Path) -> Iterator[FramesOnDisk]:
    """Give room for frames on the disk of the folder ``beside``, and take it away afterwards."""
    with room_beside(beside) as folder:
        yield FramesOnDisk(folder)


@contextmanager
def room_beside(folder: Path) -> Iterator[Path]:
    """Give a folder within ``folder``, and take it away afterwards.

    Raises
    ------
    StoreError
        If it cannot be made.
    """
    try:
        room = tempfile.TemporaryDirectory(prefix="making-", dir=folder, ignore_cleanup_errors=True)
    except OSError as error:
        raise _no_room(error, folder) from error
    with room as name:
        yield Path(name)


def _no_room(error: OSError, folder: Path) -> StoreError:
    return StoreError(
        f"there is no room to work beside the store: {error.strerror or error}",
        where=str(folder),
        mend="See that the disk has room and that you may write there; nothing was changed.",
    )
