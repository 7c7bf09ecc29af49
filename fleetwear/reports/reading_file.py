"""A vehicle's readings as a file to take away, with every measure's unit in its header."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.units import convert

if TYPE_CHECKING:
    from fleetwear.planning.vehicle import VehicleRecord


_AS_STORED = [
    "joint",
    "direction",
    "life_no",
    "timing",
    "session",
    "stroke",
    "method",
    "support",
    "read_at",
    "indicator",
    "result",
]


def reading_file(record: VehicleRecord) -> pd.DataFrame:
    """Return one row a stroke, newest first: in mm and km, in the vehicle's own units, and as written."""
    readings, vehicle = record.readings, record.vehicle
    play, distance = str(vehicle["play_unit"]), str(vehicle["distance_unit"])
    frame = pd.DataFrame({"unit": [vehicle["unit"]] * len(readings)})
    frame["date"] = pd.to_datetime(readings["visit_date"]).dt.strftime("%Y-%m-%d")
    frame["odometer_km"] = readings["odometer_km"].astype(float).round(1)
    if distance != "km":
        frame[f"odometer_{distance}"] = convert(readings["odometer_km"].to_numpy(float), "km", distance).round(0)
    for name in _AS_STORED:
        frame[name] = readings[name]
    frame["play_mm"] = readings["play_mm"].astype(float).round(4)
    if play != "mm":
        frame[f"play_{play}"] = convert(readings["play_mm"].to_numpy(float), "mm", play).round(4)
    frame["limit_on_that_day_mm"] = readings["limit_mm"].astype(float).round(4)
    frame["limit_source"] = readings["limit_source"]
    frame["over_limit"] = readings["is_over"].map({True: "yes", False: "no"})
    compared = readings["limit_mm"].notna()
    frame["compared"] = (
        readings["is_indicative"].map({True: "indicative", False: "as the limit is stated"}).where(compared)
    )
    frame["play_written"] = readings["play_written"].str.cat(readings["play_unit"], sep=" ")
    frame["question"] = readings["question"]
    frame["question_state"] = readings["question_state"]
    return frame
