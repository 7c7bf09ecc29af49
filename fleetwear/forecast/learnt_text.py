"""What a fit has learnt as text, so that lives of which something new is seen are known anew without another fit.

Numbers come back bit for bit.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import fields, is_dataclass
from typing import Any, TypeVar

import numpy as np
import pandas as pd

from fleetwear.errors import FitError
from fleetwear.forecast.setups import Findings
from fleetwear.wear.learnt import Learnt
from fleetwear.wear.methods import Methods
from fleetwear.wear.population import MeanLine, Population
from fleetwear.wear.reading_errors import ReadingErrors
from fleetwear.wear.shapes import Shape
from fleetwear.wear.slips import Slips
from fleetwear.wear.two_stage import TwoStagePopulation
from fleetwear.wear.wandering import WanderingPopulation

_Kind = TypeVar("_Kind")


def write_learnt(learnt: Learnt | Findings) -> str:
    """Return what was learnt of a group, or of setups, as text, which the functions below read."""
    return json.dumps(_plain(learnt))


def read_learnt(text: str) -> Learnt:
    """Return what a text says of a group.

    Raises
    ------
    FitError
        If the text is not that of this version.
    """
    return _read(text, Learnt)


def read_setups(text: str) -> Findings:
    """Return what a text says of setups; raises as :func:`read_learnt`."""
    return _read(text, Findings)


def _read(text: str, kind: type[_Kind]) -> _Kind:
    try:
        found = _built(json.loads(text))
    except (ValueError, TypeError, KeyError) as error:
        raise FitError(
            f"what an earlier fit learnt cannot be read: {error}", mend="Fit anew with `fleetwear forecast`."
        ) from error
    if not isinstance(found, kind):
        raise FitError("what an earlier fit learnt is something else", mend="Fit anew with `fleetwear forecast`.")
    return found


_KINDS = {
    kind.__name__: kind
    for kind in (
        Learnt, Findings, Population, TwoStagePopulation, WanderingPopulation, Shape, MeanLine, ReadingErrors, Methods,
        Slips,
    )
}  # fmt: skip


def _plain(value: Any) -> Any:
    """Return a value as what JSON knows; floats keep their digits."""
    if is_dataclass(value) and not isinstance(value, type):
        named = {field.name: _plain(getattr(value, field.name)) for field in fields(value)}
        return {"kind": type(value).__name__, **named}
    if isinstance(value, np.ndarray):
        return {"kind": "array", "type": str(value.dtype), "shape": list(value.shape), "values": value.ravel().tolist()}
    if isinstance(value, pd.DataFrame):
        return {"kind": "frame", "columns": {str(name): _plain(value[name].to_numpy()) for name in value}}
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, Mapping):
        return {"kind": "pairs", "pairs": [[key, _plain(each)] for key, each in value.items()]}
    return [_plain(each) for each in value] if isinstance(value, list | tuple) else value


def _built(value: Any) -> Any:
    if isinstance(value, list):
        return [_built(each) for each in value]
    if not isinstance(value, dict):
        return value
    kind = value.pop("kind")
    if kind == "array":
        return np.array(value["values"], dtype=value["type"]).reshape(value["shape"])
    if kind == "frame":
        return pd.DataFrame({name: _built(each) for name, each in value["columns"].items()})
    if kind == "pairs":
        return {key: _built(each) for key, each in value["pairs"]}
    return _KINDS[kind](**{name: _built(each) for name, each in value.items()})
