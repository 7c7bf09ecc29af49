"""The page that tells which sources of readings stand out."""

import dataclasses
import shlex

import pytest
from streamlit.testing.v1 import AppTest

SCRIPT = """
from dashboard.messages import told_calmly
from dashboard.tasks import consistency
with told_calmly():
    consistency.show()
"""


@pytest.fixture
def page(monkeypatch, demo_store):
    monkeypatch.setenv("FLEETWEAR_STORE", str(demo_store.folder))
    return AppTest.from_string(SCRIPT, default_timeout=60).run()


def test_it_lists_every_source_and_draws_the_one_that_is_chosen(page):
    assert not page.exception
    source = page.selectbox(key="source")
    assert any(label.startswith("shop: ") for label in source.options)
    assert any(label.startswith("method: ") for label in source.options)
    page.selectbox(key="source").select(source.options[-1]).run()
    assert not page.exception
    assert any("Nothing stands out" in text.value or "since" in text.value for text in page.markdown)


def test_the_command_that_is_offered_runs_no_part_of_a_name(page, monkeypatch):
    from dashboard import snapshot

    hostile = 'Bay $(touch x) `id` "; id #'
    found = snapshot.consistency(*snapshot.current())
    sources = found.sources.copy()
    sources["named"], sources["name"] = True, hostile
    sources["since"], sources["shift_mm"] = sources["first_day"], 0.1
    monkeypatch.setattr(snapshot, "consistency", lambda *_: dataclasses.replace(found, sources=sources))
    page.run()
    assert shlex.split(page.code[0].value)[3] == hostile
    assert shlex.quote(hostile) in page.code[0].value
