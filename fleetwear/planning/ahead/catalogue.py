"""Which part a joint takes: the closest fit on record, followed to the number that is ordered now."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.errors import InputError
from fleetwear.planning.wording import is_known

if TYPE_CHECKING:
    from collections.abc import Mapping

COLUMNS = [
    "part_number", "supplier", "cost", "lead_days", "labour_hours", "alignment_after", "ordered_in_pairs",
    "pieces_per_joint",
]  # fmt: skip


@dataclass(frozen=True)
class Fit:
    """The part of a joint."""

    row: Mapping[str, object]
    """The figures of the number that is ordered, ``COLUMNS``."""
    chain: tuple[str, ...]
    """The numbers that were followed, the first on record to the one that is ordered."""
    others: tuple[str, ...]
    """Other numbers that fit as closely."""


def follow(number: str, superseded: Mapping[str, str]) -> tuple[str, ...]:
    """Return the numbers from one to that which is ordered in its place now.

    Raises
    ------
    InputError
        If they lead back to one of them.
    """
    chain = [number]
    while chain[-1] in superseded:
        following = superseded[chain[-1]]
        if following in chain:
            circle = " > ".join([*chain, following])
            raise InputError(
                f"part numbers supersede each other in a circle: {circle}",
                where="parts",
                mend="Load a row of a parts file for the number that is ordered now, with nothing in superseded by.",
            )
        chain.append(following)
    return tuple(chain)


def superseded_numbers(parts: pd.DataFrame) -> dict[str, str]:
    """Return which number takes the place of which, from rows of parts."""
    told = parts.dropna(subset=["superseded_by"])
    return dict(zip(told["part_number"].astype(str), told["superseded_by"].astype(str), strict=True))


def part_of(
    parts: pd.DataFrame, superseded: Mapping[str, str], *, model: str, kind: str, place: str | None
) -> Fit | None:
    """Return the part that a joint takes, None where none is on record.

    An empty model or place of a part stands for any; a part of the model goes before one for any, then one of the
    place. Of several numbers that fit as closely the one first put on record is taken, and the others are named.

    Parameters
    ----------
    parts
        Rows of ``ahead/parts.sql``.
    superseded
        Which number takes the place of which.
    model, kind, place
        Of the vehicle and its joint.

    Raises
    ------
    InputError
        If the number leads back to itself.
    """
    own_model, own_place = parts["model"] == model, parts["place"] == (place or "")
    fits = (
        (parts["kind"] == kind)
        & (own_model | parts["model"].isna())
        & (own_place | parts["place"].isna() | (parts["place"] == ""))
    )
    if not fits.any():
        return None
    closeness = 2 * own_model.astype(int) + own_place.astype(int)
    closest = parts[fits & (closeness == closeness[fits].max())].sort_values("place_no", kind="stable")
    chains = [follow(str(number), superseded) for number in closest["part_number"].drop_duplicates()]
    chain = chains[0]
    known = closest[closest["part_number"] == chain[-1]]
    anywhere = parts[parts["part_number"] == chain[-1]]
    figures = next((rows for rows in (known, anywhere) if len(rows)), closest[closest["part_number"] == chain[0]])
    row = {name: figures.iloc[0][name] for name in COLUMNS} | {"part_number": chain[-1]}
    ends = dict.fromkeys(one[-1] for one in chains)
    return Fit(row, chain, tuple(number for number in ends if number != chain[-1]))


def fit_parts(joints: pd.DataFrame, parts: pd.DataFrame) -> pd.DataFrame:
    """Return the joints with the columns of their parts, ``part_chain`` and ``part_others``; empty without a part.

    Parameters
    ----------
    joints
        One row a joint: model, kind, place.
    parts
        Rows of ``ahead/parts.sql``.
    """
    asked = joints[["model", "kind", "place"]].astype(object).where(joints[["model", "kind", "place"]].notna(), None)
    superseded = superseded_numbers(parts)
    found: dict[tuple[object, ...], dict[str, object]] = {}
    nothing: dict[str, object] = {**dict.fromkeys(COLUMNS), "part_chain": (), "part_others": ()}
    rows = []
    for key in asked.itertuples(index=False, name=None):
        if key not in found:
            model, kind, place = key
            fit = part_of(
                parts, superseded, model=str(model), kind=str(kind), place=str(place) if is_known(place) else None
            )
            found[key] = nothing if fit is None else {**fit.row, "part_chain": fit.chain, "part_others": fit.others}
        rows.append(found[key])
    table = pd.DataFrame(rows, index=joints.index, columns=[*COLUMNS, "part_chain", "part_others"])
    for name in ("cost", "lead_days", "labour_hours", "pieces_per_joint"):
        table[name] = pd.to_numeric(table[name]).astype(float)
    for name in ("alignment_after", "ordered_in_pairs"):
        table[name] = [bool(value) if is_known(value) else False for value in table[name]]
    return pd.concat([joints, table], axis=1)
