"""A trend report as data: words, tables, and charts as SVG, the same for a page of HTML and for PDF."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from fleetwear.forecast.effects import EFFECTS_CAUTION
from fleetwear.planning.wording import begin_sentence
from fleetwear.reports import trend_words as words
from fleetwear.reports.charts import Spec, cohort_chart, crossing_chart, growth_chart
from fleetwear.reports.effect_tables import short_effect_table
from fleetwear.reports.looks import PRINT
from fleetwear.reports.trend_tables import TrendUnits, curves_end, growth_table, lifetime_table, say_parts
from fleetwear.vocabulary import CAUTION

if TYPE_CHECKING:
    import pandas as pd

    from fleetwear.trends import TrendAnswer

Sheet = dict[str, Any]

_PANEL_PX = 310


def trend_sheet(answer: TrendAnswer, *, units: TrendUnits, width: int, font: str | None = None) -> Sheet:
    """Return title, facts, sentences, tables of ``heads`` and ``rows``, and charts of ``title`` and ``svg``.

    Parameters
    ----------
    answer
        What the trends say.
    units
        The units to tell it in.
    width
        Of the chart of growth, in pixels.
    font
        The font of the charts; those that are at hand if not given.
    """
    pictures = _Pictures(font)
    growth = None
    if len(answer.growth):
        growth = pictures.of(growth_chart(answer.growth, answer.densities, by=answer.by, units=units, look=PRINT,
                                          width=width))  # fmt: skip
    return {
        "title": words.title(answer),
        "facts": [list(pair) for pair in words.facts(answer)],
        "caution": CAUTION,
        "method": words.METHOD,
        "headlines": words.headlines(answer, units),
        "growth": growth,
        "growth_notes": [words.HOW_TO_READ_GROWTH, words.GROWTH_CAUTION],
        "growth_table": _table(growth_table(answer.growth, by=answer.by, units=units)),
        "cohorts": [
            {"kind": begin_sentence(kind), "panels": _cohorts(curves, units, pictures)}
            for kind, curves in answer.curves.items()
        ],
        "cohort_note": words.HOW_TO_READ_CURVES,
        "crossings": [
            {
                "title": begin_sentence(one.kind if answer.by == "kind" else f"{one.kind}, {one.level}"),
                "about": f"{one.lifetimes.n_crossed} of {len(one.lifetimes):,} parts crossed",
                "svg": pictures.of(crossing_chart(one, units=units, look=PRINT, width=_PANEL_PX, height=170)),
            }
            for one in answer.crossing
        ],
        "crossing_notes": [
            note for note in (words.HOW_TO_READ_CROSSINGS, words.without_crossings(answer)) if note and answer.lifetimes
        ],
        "lifetime_table": _table(lifetime_table(answer.lifetimes, by=answer.by, units=units)),
        "cannot": [words.CROSSINGS_CAUTION, words.what_counts(answer)],
        "comparisons": _comparisons(answer),
        "comparison_notes": [words.say_p_values(answer), EFFECTS_CAUTION],
        "thin_growth": [one.words() for one in answer.thin_growth],
        "thin_lifetimes": [one.words() for one in answer.thin_lifetimes],
        "left_out": words.left_out(answer),
    }


class _Pictures:
    """Makes charts into SVG whose inner names are their own, so that several can stand in one document."""

    def __init__(self, font: str | None) -> None:
        self._font, self._made = font, 0

    def of(self, spec: Spec) -> str:
        """Return a chart as SVG."""
        import vl_convert

        if self._font is not None:
            spec["config"]["font"] = self._font
        svg = str(vl_convert.vegalite_to_svg(spec))
        self._made += 1
        names = set(re.findall(r'\bid="([^"]+)"', svg))
        for name in names:
            own = f"picture{self._made}-{name}"
            svg = svg.replace(f'id="{name}"', f'id="{own}"').replace(f"url(#{name})", f"url(#{own})")
        return svg


def _cohorts(curves: pd.DataFrame, units: TrendUnits, pictures: _Pictures) -> list[dict[str, str]]:
    ends = curves_end(curves, units)
    return [
        {
            "title": cohort_title(curve),
            "about": say_parts(int(curve["n_lives"].iloc[0]), int(curve["n_vehicles"].iloc[0])),
            "svg": pictures.of(cohort_chart(curve, ends=ends, units=units, look=PRINT, width=_PANEL_PX, height=120)),
        }
        for _, curve in curves.groupby("cohort", sort=True)
    ]


def cohort_title(curve: pd.DataFrame) -> str:
    """Return what a cohort is called beside its kind: "L2 van, parcels, in-out"."""
    row = curve.iloc[0]
    return f"{row['model']}, {row['duty']}, {row['direction']}"


def _comparisons(answer: TrendAnswer) -> Sheet:
    if answer.comparisons.empty:
        return {"heads": [], "rows": []}
    table = short_effect_table(answer.comparisons)
    table["n_lives"] = [f"{lives:,}, {vehicles:,}" for lives, vehicles in
                        zip(table["n_lives"], table["n_vehicles"], strict=True)]  # fmt: skip
    table["p_holm"] = [f"{value:.2g}" for value in table["p_holm"]]
    heads = {"comparison": "Comparison (95 %)", "n_lives": "Series, vehicles", "all_at_once": "All at once, 95 %",
             "p_holm": "p holm"}  # fmt: skip
    return _table(table[list(heads)].rename(columns=heads))


def _table(frame: pd.DataFrame) -> Sheet:
    return {"heads": list(frame.columns), "rows": [[str(cell) for cell in row] for row in frame.to_numpy()]}
