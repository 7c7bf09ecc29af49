"""A small fleet, made by hand, whose every case is known: ten vans that wear steadily and a few that do not."""

from __future__ import annotations

JOINT = "left front lower ball joint"
DAYS = ("2024-11-01", "2025-05-01", "2025-11-01", "2026-05-01")
LIMIT_MM = 0.6


def play(k: int, n: int) -> float:
    """Return the play that van A``k`` shows at its visit ``n``, mm."""
    return round(0.1 + 0.06 * (3 + n) * (0.8 + 0.05 * k) + 0.01 * (-1) ** (k + n), 3)


def fleet(*, later_mm: float = 0.0, changes: dict[str, str] | None = None) -> dict[str, str]:
    """Return the tables as CSV text; ``later_mm`` is added to every reading of 2026-05-01, ``changes`` end tables.

    Beside the vans A0 to A9, read at all of ``DAYS`` at 30,000 to 60,000 km:

    * B1 is replaced on 2026-02-01 without having been read again;
    * B2 is replaced at its visit of 2026-05-01, read over the limit before and as new after it;
    * B3 is not read after 2025-11-01;
    * B4 is over its limit on 2025-11-01 already;
    * B5 shows "none seen" on 2026-02-01 before it is measured on 2026-05-01;
    * A00 enters service in 2026, so that later moments number all series otherwise.
    """
    vehicles = [f"A{k},Van,2022-01-01" for k in range(10)] + [f"B{k},Van,2022-01-01" for k in range(1, 6)]
    vehicles.append("A00,Van,2026-01-10")
    readings = []
    for unit in [line.split(",")[0] for line in vehicles[:-1]]:
        k = int(unit[1:])
        for n, day in enumerate(DAYS):
            if unit == "B3" and n == 3:
                continue
            value = play(k, n) + (later_mm if n == 3 else 0.0)
            if (unit, n) == ("B2", 3):
                value = 0.65 + later_mm
            if (unit, n) == ("B4", 2):
                value = 0.7
            timing = "before work"
            readings.append(f"{unit},{day},{30_000 + 10_000 * n},{JOINT},in-out,measured,{value:.3f},{timing}")
    readings += [
        f"B2,2026-05-01,60000,{JOINT},in-out,measured,0.050,after work",
        f"B5,2026-02-01,55000,{JOINT},in-out,none seen,,before work",
        f"A00,2026-05-01,5000,{JOINT},in-out,measured,0.100,before work",
    ]
    work = [f"B1,2026-02-01,55000,{JOINT},replaced", f"B2,2026-05-01,60000,{JOINT},replaced"]
    tables = {
        "vehicles": "unit,model,in service date\n" + "\n".join(vehicles),
        "positions": "model,axle,side,place,kind\nVan,front,left,lower,ball joint",
        "limits": f"kind,limit (mm),basis,source,valid from\nball joint,{LIMIT_MM},shop,sheet 7,2020-01-01",
        "readings": "unit,visit date,odometer (km),joint,direction,result,play (mm),timing\n" + "\n".join(readings),
        "work": "unit,work date,odometer (km),joint,work\n" + "\n".join(work),
    }
    for name, more in (changes or {}).items():
        tables[name] += "\n" + more
    return tables
