from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pandas as pd
import pytest
from python_calamine import CalamineWorkbook

import demo_fleet
from demo_fleet.truth import Truth, read_truth

HEADERS = {
    "unit number": "unit",
    "mileage": "odometer",
    "odometer (km)": "odometer",
    "odometer (mi)": "odometer",
    "load direction": "direction",
    "done date": "service date",
    "play (mm)": "play",
    "play (in)": "play",
    "resolution (mm)": "resolution",
    "resolution (in)": "resolution",
}


def read_as_text(path: Path) -> pd.DataFrame:
    """The file's cells as text, under the contract's own headers; row 0 is the file's row 2."""
    if path.suffix == ".csv":
        table = pd.read_csv(path, dtype=str, keep_default_na=False)
    else:
        header, *rows = CalamineWorkbook.from_path(str(path)).get_sheet_by_index(0).to_python()
        table = pd.DataFrame([[str(cell) for cell in row] for row in rows], columns=header)
    return table.rename(columns=HEADERS)


@dataclass(frozen=True)
class Demo:
    files: demo_fleet.DemoFiles
    tables: dict[str, pd.DataFrame]
    truth: Truth

    def row(self, file: str, row: int) -> pd.Series:
        return self.tables[file].iloc[row - 2]

    def heading(self, column: str) -> str:
        """The contract's header for a file's own."""
        return HEADERS.get(column, column)

    def cases(self, name: str) -> pd.DataFrame:
        return self.truth.events[self.truth.events["case"] == name]


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Demo:
    files = demo_fleet.write(tmp_path_factory.mktemp("demo"))
    tables = {path.name: read_as_text(path) for path in files.files}
    return Demo(files, tables, read_truth(files.folder))
