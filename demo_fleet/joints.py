"""The joints of the fleet, and the series that are read of them: a joint in one load direction."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from demo_fleet.catalogue import MODELS, limit_history
from demo_fleet.period import day_number

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from demo_fleet.catalogue import Model, Position
    from demo_fleet.roster import Roster

_NEVER = int(np.iinfo(np.int64).max)


@dataclass(frozen=True)
class Joints:
    """Every joint of the fleet and every series: a joint tested in one of its load directions.

    Attributes
    ----------
    vehicle, position
        Of each joint: the vehicle, and the place in its model's positions; shape (joints,).
    kind, name
        What sort of joint it is, and what it is called; shape (joints,).
    joint, direction
        Of each series: which joint, in which direction; shape (series,).
    is_second
        Whether it is the second direction of its joint.
    limit_mm, limit_changes, later_limit_mm
        The series' limit (infinite for none), the day on which it changes, and the limit from then on.
    """

    vehicle: NDArray[np.int64]
    position: NDArray[np.int64]
    kind: NDArray[np.str_]
    name: NDArray[np.str_]
    joint: NDArray[np.int64]
    direction: NDArray[np.str_]
    is_second: NDArray[np.bool_]
    limit_mm: NDArray[np.float64]
    limit_changes: NDArray[np.int64]
    later_limit_mm: NDArray[np.float64]

    @property
    def vehicle_of_series(self) -> NDArray[np.int64]:
        """The vehicle of each series, shape (series,)."""
        return self.vehicle[self.joint]

    def limit_on(self, series: NDArray[np.int64], day: NDArray[np.int64]) -> NDArray[np.float64]:
        """Return the limits of series on days, in mm; infinite where there is none."""
        changed = day >= self.limit_changes[series]
        return np.where(changed, self.later_limit_mm[series], self.limit_mm[series])

    def find(self, vehicle: int, name: str) -> int:
        """Return the joint of a vehicle by its name."""
        return int(np.flatnonzero((self.vehicle == vehicle) & (self.name == name))[0])

    def series_of(self, joint: int) -> NDArray[np.int64]:
        """Return the series of a joint, its first direction first."""
        return np.flatnonzero(self.joint == joint)


def list_joints(roster: Roster) -> Joints:
    """Return the joints and series of a fleet, by vehicle and position."""
    counts = np.array([len(model.positions) for model in MODELS])
    vehicle = np.repeat(np.arange(roster.size), counts[roster.model])
    position = np.arange(vehicle.size) - np.searchsorted(vehicle, vehicle)
    flat = position + (np.cumsum(counts) - counts)[roster.model[vehicle]]
    positions = [position for model in MODELS for position in model.positions]
    kind = np.array([str(position.kind) for position in positions])
    name = np.array([position.joint for position in positions])

    table = [row for model in MODELS for place in model.positions for row in _series_of(model, place)]
    per_position = np.array([len(position.kind.test_directions) for position in positions])
    joint = np.repeat(np.arange(vehicle.size), per_position[flat])
    row = (np.cumsum(per_position) - per_position)[flat[joint]] + (
        np.arange(joint.size) - np.searchsorted(joint, joint)
    )
    directions, second, first_mm, changes, later_mm = (np.array(column) for column in zip(*table, strict=True))
    return Joints(
        vehicle, position, kind[flat], name[flat], joint, directions[row], second[row],
        first_mm[row], changes[row], later_mm[row],
    )  # fmt: skip


def _series_of(model: Model, position: Position) -> list[tuple[str, bool, float, int, float]]:
    """Return a row a load direction: it, whether it is the second, limit, day of change, later limit."""
    rows = []
    for number, direction in enumerate(position.kind.test_directions):
        limits = limit_history(model, position.kind, direction)
        first_mm = limits[0][1] if limits else np.inf
        change, later_mm = (day_number(limits[1][0]), limits[1][1]) if len(limits) > 1 else (_NEVER, first_mm)
        rows.append((str(direction), number == 1, first_mm, change, later_mm))
    return rows
