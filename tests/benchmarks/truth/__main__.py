"""Forecasts against known truth: ``python tests/benchmarks/truth`` from the root (see run.py)."""

import os
import sys
from pathlib import Path

# before numpy is imported: on small arrays, threads that wait for each other cost more than they give
os.environ["OPENBLAS_NUM_THREADS"] = "1"
# the folder is imported as `truth`: a package of the name `tests` that lies in the environment would hide it
sys.path[0] = str(Path(__file__).resolve().parents[1])

from truth.run import main  # noqa: E402

if __name__ == "__main__":
    main()
