from __future__ import annotations

import pytest

from fleetwear.errors import InputError, UnitError
from fleetwear.intake.columns import TABLES
from fleetwear.intake.headers import recognise


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.name)
def test_a_table_is_recognised_by_its_required_columns_alone_and_by_all(table):
    required = [column.name for column in table.columns if column.required]
    everything = [column.name for column in table.columns]
    assert recognise(everything).table is table
    assert recognise(required).table is table


def test_case_underscores_and_brackets_do_not_matter():
    found = recognise(["Unit_No", "VISIT DATE", "Odometer [mi]", "Joint", "load direction", "Play (thou)", "colour"])
    assert found.table.name == "readings"
    assert found.header_units == {"odometer": "mi", "play": "thou"}
    assert found.positions["unit"] == 0
    assert found.ignored == ("'colour'",)


def test_a_trailing_unit_counts_as_one():
    found = recognise(["unit", "visit_date", "odometer_km", "joint", "direction", "play_mm", "play unit"])
    assert found.header_units == {"odometer": "km", "play": "mm"}


def test_an_unknown_header_is_named_with_the_nearest():
    assert recognise(["unit", "visit date", "techncian"]).ignored == ("'techncian' (did you mean 'technician'?)",)


def test_no_table_fits_names_the_nearest_and_what_is_missing():
    with pytest.raises(InputError, match=r"nearest is readings.*'direction' \(nearest header: 'diretion'\)"):
        recognise(["unit", "visit date", "joint", "diretion", "play"], where="x.csv")


def test_two_headers_for_one_column_are_ambiguous():
    with pytest.raises(InputError, match="'odometer' and 'mileage' both mean 'odometer'"):
        recognise(["unit", "visit date", "odometer", "mileage"])


def test_an_unknown_unit_in_the_header_is_refused():
    with pytest.raises(UnitError, match=r"'odometer \(furlong\)'.*km, mi"):
        recognise(["unit", "visit date", "odometer (furlong)"])
