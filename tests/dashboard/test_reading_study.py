"""The page "How well a reading is known", run without a browser and without a store."""

from __future__ import annotations

import numpy as np
import pytest
from streamlit.testing.v1 import AppTest

from fleetwear.measurement import decide, make_budget
from fleetwear.reports.reading_study import decision_words


def _script():
    from dashboard.messages import told_calmly
    from dashboard.tasks import reading_study

    with told_calmly():
        reading_study.show()


@pytest.fixture
def app():
    app = AppTest.from_function(_script, default_timeout=60).run()
    assert not app.exception
    assert app.title[0].value == "How well a reading is known"
    return app


def text(app):
    return "\n".join([*(element.proto.body for element in app.get("html")), *(one.value for one in app.markdown)])


def fill(app, **values):
    for key, value in values.items():
        app.number_input(key=key).set_value(value)
    app.button[0].click().run()
    assert not app.exception
    return text(app)


def test_without_figures_the_page_asks_for_them(app):
    assert "Give at least a reading" in text(app)
    assert "never clears a vehicle" in text(app)


def test_a_reading_is_decided_with_its_budget(app):
    said = fill(app, reading=0.46, limit=0.5, repeatability=0.03, resolution=0.01, setup=0.05, strokes=4)
    budget = make_budget(0.03, strokes=4, resolution=0.01, setup=0.05)
    assert "Too close to call" in said
    assert decision_words(decide(0.46, 0.5, budget), budget, "mm")[0] in said
    assert "No number of strokes" in said
    assert "step / sqrt(12)" in said


def test_thou_are_taken_as_thou(app):
    app.selectbox(key="unit").set_value("thou")
    said = fill(app, reading=30.0, limit=20.0, repeatability=2.0)
    assert "Beyond doubt over" in said
    assert "30 thou" in said
    assert "No setup was given" in said


def test_nonsense_is_told_calmly(app):
    assert "every contribution is nought".capitalize() in fill(app, reading=0.4, limit=0.5, repeatability=0.0)


def test_an_uploaded_study_is_told_with_its_refused_rows(app):
    rng = np.random.default_rng(2)
    lines = [f"J{j},P{p},{0.4 + 0.1 * j + 0.02 * rng.normal():.3f}" for j in range(6) for p in range(3) for _ in "ab"]
    content = "\n".join(["joint,technician,play (mm)", *lines, "J1,P1,none"]).encode()
    app.text_input(key="study_limit").set_value("0.5 mm")
    app.get("file_uploader")[0].set_value(("study.csv", content, "text/csv")).run()
    assert not app.exception
    said = text(app)
    assert "<b>gauge R&amp;R</b>" in said
    assert "Against a limit of 0.50 mm" in said
    assert "study.csv, row 38" in said


def test_a_file_that_is_no_study_is_told_calmly(app):
    app.get("file_uploader")[0].set_value(("study.csv", b"a,b\n1,2\n", "text/csv")).run()
    assert not app.exception
    assert "no header fits a study" in text(app).lower()
