"""Straight fits from the sums, beside the GROUP BY in DuckDB that makes them, and how time and memory grow."""

from __future__ import annotations

import tempfile
from dataclasses import fields
from functools import partial
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
from fleets import COHORTS, NAMES, READINGS, fleet
from timing import as_table, child, said, show, timed, times

from fleetwear.wear import fit_sums
from fleetwear.wear.sums import LifeSums

SIZES = (1_000, 10_000, 100_000, 1_000_000)

GROUP_BY = """
select
    life,
    any_value(cohort) as cohort,
    count(*)::double as n,
    sum(w) as w,
    sum(w * g) as wg,
    sum(w * g * g) as wgg,
    sum(w * y) as wy,
    sum(w * g * y) as wgy,
    sum(w * y * y) as wyy,
    sum(ln(1.0 / w)) as log_v
from readings
group by life
"""


def sums_of(columns: dict[str, np.ndarray]) -> LifeSums:
    return LifeSums(*(np.asarray(columns[field.name], dtype=np.float64) for field in fields(LifeSums)))


def sums_section(*, quick: bool) -> str:
    rows = []
    for lives in SIZES[:3] if quick else SIZES:
        data = fleet(lives)
        frame = pd.DataFrame({"life": data.life, "cohort": data.codes[data.life], "g": data.distance, "y": data.play})
        runs = 11 if lives < 1_000_000 else 7
        with duckdb.connect() as con:
            con.execute("set enable_progress_bar = false")
            con.execute("create table readings as select life, cohort, g, y, 1.0::double as w from frame")
            del frame
            grouped = timed(lambda con=con: con.execute(GROUP_BY).fetchnumpy(), runs, for_seconds=2.0)
            columns = grouped.found
            sums, codes = sums_of(columns), np.asarray(columns["cohort"], dtype=np.int64)
            fitted = timed(partial(fit_sums, sums, NAMES, codes, reference=1.0), runs, for_seconds=2.0)
        evaluations = fitted.found[1].optimum.evaluations
        ratio = fitted.median / grouped.median
        row = [f"{lives:,}", f"{len(data.life):,}", said(grouped.median), said(fitted.median), times(ratio)]
        rows.append([*row, str(evaluations), f"{1e6 * fitted.median / lives:.2f}"])
        show(rows[-1])
    header = ["lives", "readings", "GROUP BY", "fit", "fit / GROUP BY", "evaluations", "µs a life"]
    return f"""A straight fit ({COHORTS} cohorts, REML) of sums that DuckDB made, beside the GROUP BY over all readings
that made them, handed over as arrays. Medians of eleven runs or two seconds, of seven runs for the
largest. Evaluations are those of the
criterion with its first and second derivatives.

{as_table(header, rows)}"""


FROM_SUMS = """
import sys, time
import numpy as np
from fleetwear.wear import fit_sums
from fleetwear.wear.sums import LifeSums
table, names, runs = np.load(sys.argv[1]), sys.argv[2].split(","), int(sys.argv[3])
def fitted(columns): return fit_sums(LifeSums(*columns[1:]), names, columns[0].astype(np.int64), reference=1.0)
"""
FROM_READINGS = """
import sys, time
import numpy as np
from fleetwear.wear import fit
table, runs = np.load(sys.argv[1]), int(sys.argv[3])
def fitted(columns):
    life, cohort = columns[0].astype(np.int64), columns[1].astype(np.int64)
    return fit(life, columns[2], columns[3], cohort, shape="straight")
"""
MEASURED = """
fitted(table[:, :1000])
before, seconds = peak(), []
for _ in range(runs):
    began = time.perf_counter()
    fitted(table)
    seconds.append(time.perf_counter() - began)
print(np.median(seconds), peak() - before, peak())
"""


def curves_section(*, quick: bool) -> str:
    rows, first = [], {}
    with tempfile.TemporaryDirectory() as name:
        table = Path(name) / "table.npy"
        for lives in SIZES[:3] if quick else SIZES:
            data = fleet(lives)
            sums = data.sums()
            own = np.stack([data.codes, *(getattr(sums, field.name) for field in fields(sums))])
            readings = np.stack([data.life, data.codes[data.life], data.distance, data.play])
            runs = 9 if lives < 1_000_000 else 3
            row = [f"{lives:,}"]
            for code, given, rows_of_a_life in ((FROM_SUMS, own, 1), (FROM_READINGS, readings, READINGS)):
                np.save(table, given)
                seconds, more, peak = child(code + MEASURED, table, ",".join(NAMES), runs)
                if lives == 10_000:
                    first[code] = seconds / lives
                growth = times(seconds / lives / first[code]) if code in first else ""
                row += [said(seconds), growth, f"{peak / 1e6:,.0f} MB", f"{more / lives / rows_of_a_life:,.0f} B"]
            rows.append(row)
            show(row)
    header = ["lives"]
    for source, unit in (("sums", "life"), ("readings", "reading")):
        header += [f"from {source}", "a life, 10,000 = 1", "most memory", f"more than at the start, a {unit}"]
    return f"""Each size in a process of its own: the median time of a straight fit, the time a life over that at 10,000
lives (1 is growth in proportion), the most memory that the process had, and how much of that came with the fit. The
sums of a life and its cohort are 72 bytes, a reading is 32.

{as_table(header, rows)}"""
