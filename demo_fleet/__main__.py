"""Write the demo fleet into a folder: ``python -m demo_fleet FOLDER``."""

from __future__ import annotations

import argparse
from pathlib import Path

from demo_fleet.blocks import write_blocks
from demo_fleet.files import SEED, write


def main() -> None:
    """Read the command line, write the files, and say which."""
    parser = argparse.ArgumentParser(prog="python -m demo_fleet", description="Write an invented fleet's files.")
    parser.add_argument("folder", type=Path, help="where to write them")
    parser.add_argument("--seed", type=int, default=SEED, help="the generator's seed (%(default)s)")
    parser.add_argument("--vehicles", type=int, default=80, help="powered vehicles, at least 30 (%(default)s)")
    parser.add_argument("--parquet", action="store_true", help="write it block by block as Parquet, for a big fleet")
    given = parser.parse_args()
    if given.parquet:
        files = write_blocks(given.folder, seed=given.seed, vehicles=given.vehicles)
    else:
        files = iter(write(given.folder, seed=given.seed, vehicles=given.vehicles).files)
    for path in files:
        print(path, flush=True)


if __name__ == "__main__":
    main()
