"""A long listing is read page by page, whatever the question was answered for a longer one."""

import pytest
from streamlit.testing.v1 import AppTest


def page() -> None:
    import streamlit as st

    from dashboard.listing import page_of

    total = st.number_input("total", value=60, min_value=0, max_value=10_000_000, key="total")
    rows = page_of(int(total), key="rows")
    st.text(f"{rows.start}:{rows.stop}")


def shown(at: AppTest) -> str:
    assert not at.exception
    return str(at.text[0].value)


@pytest.fixture
def at() -> AppTest:
    return AppTest.from_function(page).run()


def test_a_short_listing_asks_nothing(at):
    at.number_input(key="total").set_value(25).run()
    assert shown(at) == "0:25"
    assert not at.selectbox
    at.number_input(key="total").set_value(0).run()
    assert shown(at) == "0:0"


def test_pages_follow_each_other(at):
    assert shown(at) == "0:25"
    at.selectbox(key="rows").select(50).run()
    assert shown(at) == "50:75"
    assert at.selectbox(key="rows").options == ["1 to 25 of 60", "26 to 50 of 60", "51 to 60 of 60"]


def test_a_page_beyond_a_listing_that_grew_shorter_is_its_first(at):
    at.selectbox(key="rows").select(50).run()
    at.number_input(key="total").set_value(30).run()
    assert shown(at) == "0:25"


def test_of_very_many_pages_one_is_asked_for_by_its_number(at):
    at.number_input(key="total").set_value(100_000).run()
    assert shown(at) == "0:25"
    at.number_input(key="rows_page").set_value(4000).run()
    assert shown(at) == "99975:100000"
    at.number_input(key="total").set_value(60).run()
    assert shown(at) == "0:25"
    at.number_input(key="total").set_value(2_000).run()
    assert int(shown(at).partition(":")[0]) < 2_000
