"""Write the demo fleet into a folder: ``python -m demo_fleet FOLDER``."""

from __future__ import annotations

import argparse
from pathlib import Path

from demo_fleet.files import SEED, write


def main() -> None:
    """Read the command line, write the files, and say which."""
    parser = argparse.ArgumentParser(prog="python -m demo_fleet", description="Write an invented fleet's files.")
    parser.add_argument("folder", type=Path, help="where to write them")
    parser.add_argument("--seed", type=int, default=SEED, help="the generator's seed (%(default)s)")
    parser.add_argument("--vehicles", type=int, default=80, help="powered vehicles, at least 30 (%(default)s)")
    given = parser.parse_args()
    written = write(given.folder, seed=given.seed, vehicles=given.vehicles)
    for path in written.files:
        print(path)


if __name__ == "__main__":
    main()
