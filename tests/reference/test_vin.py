"""Check digits of vehicle identification numbers.

Source: 49 CFR 565.15, table III (letters to digits), table IV (weights) and table V (remainders). The numbers below
are the worked examples that accompany the rule in general texts, quoted from memory: 1M8GDM9AXKP042788 (remainder 10,
written X) and seventeen ones (the weights sum to 89 = 8 x 11 + 1, so the digit is 1, which anybody can add up).
"""

import pytest

from fleetwear.intake.statements import statement
from fleetwear.intake.vin import check_digit, doubt
from fleetwear.store.connection import connect

VALID = ["1M8GDM9AXKP042788", "11111111111111111"]


@pytest.mark.parametrize("vin", VALID)
def test_worked_examples(vin):
    assert check_digit(vin) == vin[8]
    assert doubt(vin) is None
    assert doubt(f" {vin[:3].lower()}-{vin[3:]}") is None


def test_by_hand():
    """1M8GDM9A_KP042788: 1 4 8 7 4 4 9 1 _ 2 7 0 4 2 7 8 8 by 8 7 6 5 4 3 2 10 0 9 8 7 6 5 4 3 2."""
    products = [8, 28, 48, 35, 16, 12, 18, 10, 0, 18, 56, 0, 24, 10, 28, 24, 16]
    assert sum(products) == 351
    assert 351 % 11 == 10


def test_every_single_slip_of_a_digit_is_doubted():
    """11 is a prime above every weight but the ninth's and difference of digits, so no wrong digit passes."""
    for vin in VALID:
        for place in range(17):
            for digit in "0123456789":
                wrong = vin[:place] + digit + vin[place + 1 :]
                if vin[place].isdigit() and place != 8 and wrong != vin:
                    assert "check digit" in doubt(wrong)


@pytest.mark.parametrize(("vin", "says"), [("IM8GDM9AXKP042788", "letter I"), ("1M8GDM9AXKPO42788", "letter O")])
def test_letters_that_no_vin_has(vin, says):
    assert says in doubt(vin)


@pytest.mark.parametrize("serial", ["", "HS-004101", "1M8GDM9AXKP04278", "1M8GDM9AXKP0427889", "1M8GDM9AXKP04278é"])
def test_other_serial_numbers_are_left_alone(serial):
    assert doubt(serial) is None


def test_the_macro_is_the_same_rule(tmp_path):
    con = connect(tmp_path / "x.duckdb", read_only=False)
    con.execute(statement("macros"))
    told = con.execute(
        "select vin, vin_is_checked(vin) from (select unnest($vins) as vin)",
        {"vins": [*VALID, *(vin[:12] + d + vin[13:] for vin in VALID for d in "0123456789ABCXZ")]},
    ).fetchall()
    con.close()
    assert {held for _, held in told} == {True, False}
    for vin, held in told:
        assert held == (check_digit(vin) == vin[8])
