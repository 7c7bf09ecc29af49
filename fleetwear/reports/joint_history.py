"""The history of one joint in one load direction, in the vehicle's own units, ready to be drawn."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from fleetwear.forecast.curves import growth_curve
from fleetwear.planning.pace import pace_change
from fleetwear.planning.wording import is_known, say_date, say_play
from fleetwear.reports.inert import on_screen
from fleetwear.store.known import ASSUMED_KM_PER_DAY
from fleetwear.units import convert
from fleetwear.vocabulary import OUTCOME_RANKS, Result

if TYPE_CHECKING:
    from fleetwear.planning.vehicle import VehicleRecord
    from fleetwear.wear.sums import Floats

Axis = Literal["distance", "date"]

_POINTS = 60
"""Points of a drawn curve."""

_SAME_KM = 1.0
"""A meter that shows the distance run within this much has not been swapped."""


@dataclass(frozen=True)
class JointHistory:
    """What a chart of one joint in one load direction shows; x is a distance run, which the odometer shows
    unless it was swapped, or a date. What only a chart needs is made when it is asked for."""

    fact: pd.Series
    """The row of ``VehicleRecord.joints``."""
    axis: Axis
    x_title: str
    play_unit: str
    limit: float | None
    limit_label: str
    window: tuple[object, object, object] | None
    """The next service: 5, 50 and 95 %."""
    now: object
    is_read: bool
    """Whether it has a reading, be it of an earlier life."""
    _record: VehicleRecord = field(repr=False)
    _place: _Place = field(repr=False)

    @property
    def title(self) -> str:
        """The joint and load direction: "Left front lower ball joint, in-out"."""
        joint = str(self.fact["joint"])
        return f"{joint[:1].upper()}{joint[1:]}, {self.fact['direction']}"

    @cached_property
    def readings(self) -> pd.DataFrame:
        """One row a stroke: x, play (nan where not measured), result, life ("current" or "earlier"), in_question,
        note (a sentence)."""
        return _readings(self._record, self._place, self.fact, self.play_unit)

    @cached_property
    def curve(self) -> pd.DataFrame:
        """x, play, lower, upper (one reading, 95 %), until_now, ahead; no rows without a model."""
        return _curve(self._record, self._place, self.fact, self.play_unit)

    @cached_property
    def events(self) -> pd.DataFrame:
        """One row a piece of work: x, label."""
        return _events(self._record, self._place, self.fact)

    @cached_property
    def pace(self) -> str:
        """A sentence on a change of pace that lies behind the joint, or empty."""
        return _pace(self._record, self.fact)

    def showing(self, *, readings: pd.DataFrame, events: pd.DataFrame | None = None) -> JointHistory:
        """Return the history with other readings, and other events if they are given."""
        other = copy(self)
        other.__dict__.update({"readings": readings} | ({} if events is None else {"events": events}))
        return other


class _Place:
    """Turns running km into a place on the x axis of one vehicle."""

    def __init__(self, record: VehicleRecord) -> None:
        vehicle = record.vehicle
        self.axis: Axis = "date" if vehicle["distance_source"] == "none" else "distance"
        self._unit = str(vehicle["distance_unit"])
        first = record.joints.iloc[0]
        self.now_km = float(first["life_start_km"]) + float(first["life_distance_km"])
        shown = vehicle["odometer_now"]
        self._shift_km = self.now_km - float(shown) if is_known(shown) else 0.0
        self._swapped = abs(self._shift_km) > _SAME_KM
        self._as_of = pd.Timestamp(record.run.as_of)
        meter = "hub meter" if vehicle["distance_source"] == "hub meter" else "odometer"
        run = f"distance run since new, {self._unit}; the {meter} was swapped"
        shows = run if self._swapped else f"{meter}, {self._unit}"
        self.title = "date" if self.axis == "date" else shows

    def of_km(self, running_km: Floats | float) -> pd.Series:
        """Return places of running distances, km."""
        km = np.atleast_1d(np.asarray(running_km, dtype=float))
        if self.axis == "date":
            days = (km - self.now_km) / ASSUMED_KM_PER_DAY
            return pd.Series(self._as_of + pd.to_timedelta(np.round(days * 86400.0), unit="s"))
        return pd.Series(convert(km, "km", self._unit))

    def window(self, vehicle: pd.Series) -> tuple[object, object, object] | None:
        """Return the window of the next service."""
        points = ("05", "50", "95")
        if self.axis == "date":
            low, middle, high = (pd.Timestamp(vehicle[f"next_service_date_{point}"]) for point in points)
            return low, middle, high
        values = [vehicle[f"next_service_odometer_{point}"] for point in points]
        if not all(is_known(value) for value in values):
            return None
        low, middle, high = convert(np.array(values, dtype=float) + self._shift_km, "km", self._unit).tolist()
        return low, middle, high

    def last_km(self, vehicle: pd.Series) -> float:
        """Return the running distance at the end of the next service's window, km."""
        if self.axis == "date":
            ahead = pd.Timestamp(vehicle["next_service_date_95"]) - self._as_of
            return self.now_km + max(ahead.days, 0) * ASSUMED_KM_PER_DAY
        end = vehicle["next_service_odometer_95"]
        return max(float(end) + self._shift_km, self.now_km) if is_known(end) else self.now_km


def joint_histories(record: VehicleRecord) -> list[JointHistory]:
    """Return the histories of a vehicle's joints, the most pressing first."""
    if record.joints.empty:
        return []
    place = _Place(record)
    joints = record.joints.assign(
        rank=record.joints["outcome"].map(OUTCOME_RANKS),
        chance=record.joints["p_over_next"].fillna(-1.0),
        share=record.joints["share_of_limit"].fillna(-1.0),
    ).sort_values(["rank", "chance", "share", "position_id", "direction"], ascending=[True, False, False, True, True])
    read = set(zip(record.readings["position_id"], record.readings["direction"], strict=True))
    return [_history(record, place, fact, read) for _, fact in joints.iterrows()]


def _history(record: VehicleRecord, place: _Place, fact: pd.Series, read: set[tuple[int, str]]) -> JointHistory:
    unit = str(record.vehicle["play_unit"])
    limit = fact["limit_mm"]
    return JointHistory(
        fact=fact,
        axis=place.axis,
        x_title=place.title,
        play_unit=unit,
        limit=float(convert(limit, "mm", unit)) if is_known(limit) else None,
        limit_label=_limit_label(fact, unit),
        window=place.window(record.vehicle),
        now=place.of_km(place.now_km).iloc[0],
        is_read=(fact["position_id"], fact["direction"]) in read,
        _record=record,
        _place=place,
    )


def _limit_label(fact: pd.Series, unit: str) -> str:
    """Return the limit at the next service in words: indicative where the last reading was taken in another way."""
    if not is_known(fact["limit_mm"]):
        return "no limit on record"
    return f"limit {say_play(fact['limit_mm'], unit)}" + (", indicative" if fact["indicative"] else "")


def _own_lines(record: VehicleRecord, fact: pd.Series) -> pd.DataFrame:
    lines: pd.DataFrame = record.lines
    own = (lines["position_id"] == fact["position_id"]) & (lines["direction"] == fact["direction"])
    found: pd.DataFrame = lines.loc[own]
    return found


def _pace(record: VehicleRecord, fact: pd.Series) -> str:
    if fact["n_visits"] == 0:
        return ""
    change = pace_change(_own_lines(record, fact), float(fact["life_distance_km"]))
    return "" if change is None else change.words(str(record.vehicle["distance_unit"]))


def _readings(record: VehicleRecord, place: _Place, fact: pd.Series, unit: str) -> pd.DataFrame:
    frame = record.readings
    own = frame[(frame["position_id"] == fact["position_id"]) & (frame["direction"] == fact["direction"])]
    own = own.sort_values(["visit_date", "timing", "session", "stroke"]).reset_index(drop=True)
    return pd.DataFrame(
        {
            "x": place.of_km(own["running_km"].to_numpy(float)).to_numpy(),
            "play": convert(own["play_mm"].to_numpy(float), "mm", unit),
            "result": own["result"].astype(str),
            "life": np.where(own["life_no"] == fact["life_no"], "current", "earlier"),
            "in_question": own["question_state"].isin(["open", "mistake"]).to_numpy(bool),
            "note": [_note(row, unit) for row in own.to_dict("records")],
        }
    )


def _note(row: dict[str, object], unit: str) -> str:
    what = say_play(row["play_mm"], unit) if row["result"] == Result.MEASURED else f"play {row['result']}"
    how = ", ".join(str(row[name]) for name in ("method", "support", "indicator", "timing") if is_known(row[name]))
    asked = f"; {row['question']}" if row["question"] else ""
    if is_known(row["p_slipped"]):
        asked += (
            f"; does not fit this joint's history, which tells of {say_play(row['expected_mm'], unit)}; measure again"
        )
    which = f"session {row['session']} stroke {row['stroke']}"
    return on_screen(f"{what} on {say_date(row['visit_date'])}, {which}: {how}{asked}")


def _curve(record: VehicleRecord, place: _Place, fact: pd.Series, unit: str) -> pd.DataFrame:
    own = _own_lines(record, fact)
    if own.empty:
        return pd.DataFrame({"x": [], "play": [], "lower": [], "upper": [], "until_now": [], "ahead": []})
    start, now = float(fact["life_start_km"]), float(fact["life_start_km"]) + float(fact["life_distance_km"])
    end = max(place.last_km(record.vehicle), now) + 0.02 * (now - start)
    km = np.unique(np.append(np.linspace(start, end, _POINTS), now))
    drawn = growth_curve(own, km - start, bands=["reading"])
    return pd.DataFrame(
        {
            "x": place.of_km(km).to_numpy(),
            "play": convert(drawn["play_mm"].to_numpy(), "mm", unit),
            "lower": np.maximum(convert(drawn["reading_lower"].to_numpy(), "mm", unit), 0.0),
            "upper": np.maximum(convert(drawn["reading_upper"].to_numpy(), "mm", unit), 0.0),
            "until_now": km <= now,
            "ahead": km >= now,
        }
    )


def _events(record: VehicleRecord, place: _Place, fact: pd.Series) -> pd.DataFrame:
    if record.work.empty:
        return pd.DataFrame({"x": [], "label": []})
    own = record.work[record.work["position_id"] == fact["position_id"]].reset_index(drop=True)
    label = [f"{work} {say_date(day)}" for work, day in zip(own["work"], own["work_date"], strict=True)]
    x = place.of_km(own["running_km"].to_numpy(float))
    return pd.DataFrame({"x": x, "label": label})
