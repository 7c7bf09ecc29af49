"""Many processes that record visits at the same time: nothing lost, nothing twice, every wait told.

Run by path: ``python tests/store/many_writers.py FOLDER [WRITERS] [VISITS]``; 8 writers of 200 visits each unless
given. Each writer is a process of its own that loads a file a visit, all begun at once. The figures go to standard
output as JSON; exit code 1 if a visit is lost or there twice, or an error was shown to a writer.
"""

from __future__ import annotations

import json
import os
import sys
import time
from datetime import date
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

import duckdb  # noqa: F401

from fleetwear.errors import StoreError
from fleetwear.store import Store
from fleetwear.store.verifying import verify
from pipelines import load

TODAY = date(2026, 11, 20)
JOINT = "left front lower ball joint"
HEADER = "unit,visit date,odometer (km),technician,joint,direction,play\n"
PER_VISIT = "select count(*), count(distinct vehicle_id || ' ' || visit_date) from visits"


def begin(folder: Path, writers: int) -> None:
    """Make a store with a vehicle a writer."""
    folder.mkdir(parents=True, exist_ok=True)
    vehicles, positions = folder / "vehicles.csv", folder / "positions.csv"
    vehicles.write_text("unit,model\n" + "".join(f"W{i},Alpha\n" for i in range(writers)))
    positions.write_text("model,axle,side,place,kind\nAlpha,front,left,lower,ball joint\n")
    load.run(folder / "store", [vehicles, positions], TODAY)


def record(folder: Path, writer: int, visits: int) -> dict[str, object]:
    """Record so many visits, a file each, and return how it went."""
    waits, left, errors, longest = 0, 0, [], 0.0

    def waited() -> None:
        nonlocal waits
        waits += 1

    for i in range(visits):
        file = folder / f"visit_{writer}_{i}.csv"
        day = date.fromordinal(date(2023, 1, 1).toordinal() + 5 * i)
        file.write_text(f"{HEADER}W{writer},{day},{1000 + 50 * i},T1,{JOINT},in-out,{i % 40} thou\n")
        began = time.monotonic()
        try:
            load.run(folder / "store", [file], TODAY, on_wait=waited)
        except StoreError as error:
            left += "the next load takes them" in str(error)
            errors.append(str(error))
        except Exception as error:
            errors.append(f"{type(error).__name__}: {error}")
        longest = max(longest, time.monotonic() - began)
    return {"waits": waits, "left": left, "errors": errors, "longest": longest}


def run(folder: Path, *, writers: int, visits: int) -> dict[str, object]:
    """Have all writers record at once, and return the figures."""
    begin(folder, writers)
    began = time.monotonic()
    children = {}
    for writer in range(writers):
        child = os.fork()
        if not child:
            code = 1
            try:
                (folder / f"told_{writer}.json").write_text(json.dumps(record(folder, writer, visits)))
                code = 0
            finally:
                os._exit(code)
        children[child] = writer
    crashed = sum(os.waitpid(child, 0)[1] != 0 for child in children)
    seconds = time.monotonic() - began
    load.run(folder / "store", [], TODAY)
    told = [json.loads((folder / f"told_{writer}.json").read_text()) for writer in range(writers)]
    with Store(folder / "store").reader() as con:
        there, distinct = con.execute(PER_VISIT).fetchall()[0]
        readings = con.execute("select count(*) from readings").fetchall()[0][0]
    wanted = writers * visits
    return {
        "writers": writers,
        "visits": wanted,
        "lost": wanted - distinct,
        "twice": there - distinct + max(readings - wanted, 0),
        "crashed": crashed,
        "errors": sum(len(one["errors"]) - one["left"] for one in told),
        "left in the inbox for the next": sum(one["left"] for one in told),
        "first error": next((one["errors"][0] for one in told if one["errors"]), ""),
        "told to wait": sum(one["waits"] for one in told),
        "longest load, s": round(max(one["longest"] for one in told), 2),
        "seconds": round(seconds, 1),
        "verify": len(verify(folder / "store").wrong),
    }


if __name__ == "__main__":
    given = [int(text) for text in sys.argv[2:4]]
    figures = run(Path(sys.argv[1]), writers=given[0] if given else 8, visits=given[1] if len(given) > 1 else 200)
    print(json.dumps(figures))
    sys.exit(any(figures[name] for name in ("lost", "twice", "crashed", "errors", "verify")))
