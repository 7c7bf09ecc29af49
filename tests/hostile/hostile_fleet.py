"""A store in which every text that people write is hostile."""

from __future__ import annotations

import csv
from datetime import date, datetime
from typing import TYPE_CHECKING

from fleetwear.forecast import Settings
from fleetwear.vocabulary import joint_name
from pipelines import load, nightly

if TYPE_CHECKING:
    from pathlib import Path

TODAY = date(2026, 11, 20)
MADE_AT = datetime(2026, 11, 20, 6, 0)

NASTY = (
    '<img src=x onerror="window.__hit=1"><script>window.__hit=1</script>\'); drop table vehicles;-- '
    "../../x [a](http://x.example/) ![p](http://x.example/p.png) $x^2$ #h *b* _i_ @y `c` :red[z] www.x.example "
    "#panic() \\ {{ x }} [red]r[/red] \u202eesrever\u2066 e" + "\u0301" * 40 + " \U0001f69a"
)
FORMULA = '=HYPERLINK("http://x.example/";"go")'
UNIT = f'+1"<b id=own>V</b>\u202e{NASTY[:30]}'
MODEL = f"@{NASTY[:200]}"
AXLE, PLACE = f"-{NASTY[:70]}", f"={NASTY[70:150]}"
JOINT = joint_name("left", AXLE, PLACE, "ball joint")


def tables():
    """Return rows by table, a header first; every text field is hostile, and one of each kind leads with a formula."""
    own = {"unit": UNIT}
    visits = [(f"2025-{month:02d}-10", 20_000 + 3_000 * month) for month in range(1, 12, 2)]
    return {
        "vehicles": [
            own
            | {
                "model": MODEL, "make": FORMULA, "vin": f"-{NASTY[:40]}", "plate": f"@{NASTY[:40]}",
                "tyre size": NASTY, "owner": f"={NASTY}", "duty": f"+{NASTY}", "depot": f"={NASTY}",
                "in service date": "2024-06-01", "in service odometer": "10 km",
            }
        ],
        "positions": [{"model": MODEL, "axle": AXLE, "side": "left", "place": PLACE, "kind": "ball joint"}],
        "limits": [
            {"model": MODEL, "kind": "ball joint", "limit": "0.9 mm", "basis": "shop", "source": f"={NASTY}"},
        ],
        "visits": [
            own
            | {
                "visit date": day, "odometer": f"{km} km", "shop": f"={NASTY}", "technician": f"-{NASTY}",
                "complaint": f"@{NASTY}", "symptom confirmed": "yes" if day == visits[-1][0] else "no",
                "symptom joint": JOINT, "secured": NASTY,
            }
            for day, km in visits
        ],
        "readings": [
            own
            | {
                "visit date": day, "odometer": f"{km} km", "shop": f"={NASTY}", "technician": f"-{NASTY}",
                "joint": JOINT, "direction": direction, "play": f"{0.2 + 0.05 * at:.2f} mm",
            }
            for at, (day, km) in enumerate(visits)
            for direction in ("in-out", "fore-aft")
        ],
        "work": [
            own
            | {
                "work date": "2025-01-10", "odometer": "23000 km", "joint": JOINT, "work": "greased",
                "part number": FORMULA, "supplier": f"={NASTY}", "reason": f"={NASTY}",
            }
        ],
    }  # fmt: skip


def make(folder: Path) -> Path:
    """Load, forecast and publish it; nothing is refused. Return the store's folder."""
    paths = []
    for name, rows in tables().items():
        paths.append(folder / f"{name}.csv")
        with paths[-1].open("w", newline="", encoding="utf-8") as file:
            writer = csv.DictWriter(file, list(rows[0]))
            writer.writeheader()
            writer.writerows(rows)
    for summary in load.run(folder / "store", paths, TODAY, loaded_at=MADE_AT):
        assert summary.rows_quarantined == 0, summary.reasons
    nightly.run(folder / "store", as_of=TODAY, made_at=MADE_AT, settings=Settings(draws=300))
    return folder / "store"
