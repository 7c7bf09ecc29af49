"""A trend report as one file of HTML that needs nothing else: no script, no address, charts inside as SVG."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

from fleetwear.reports.looks import FONT, PRINT
from fleetwear.reports.trend_sheet import Sheet, trend_sheet

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fleetwear.reports.trend_tables import TrendUnits
    from fleetwear.trends import TrendAnswer

_WIDE_PX = 440
"""Of the chart of growth: its words are still legible where a narrow screen shrinks it to fit."""
_STYLE = """
body {{ margin: 0 auto; max-width: 60rem; padding: 1.5rem 1rem 3rem; background: {paper}; color: {ink};
  font-family: {font}; font-size: 16px; line-height: 1.45; }}
h1 {{ font-size: 1.9rem; line-height: 1.2; margin: 0 0 .4rem; }}
h2 {{ font-size: 1.3rem; color: {accent}; margin: 2rem 0 .4rem; }}
h3 {{ font-size: 1.05rem; margin: 1.2rem 0 .3rem; }}
p {{ margin: .4rem 0; }}
.quiet {{ color: {muted}; font-size: .93rem; }}
.said {{ border-left: 4px solid {accent}; padding-left: .9rem; }}
dl {{ display: grid; grid-template-columns: repeat(auto-fill, minmax(9rem, 1fr)); gap: .3rem 1.2rem; margin: .6rem 0;
  border-top: 1.5px solid {accent}; padding-top: .6rem; }}
dt {{ color: {muted}; font-size: .87rem; }} dd {{ margin: 0; }}
svg {{ max-width: 100%; height: auto; display: block; }} .wide svg {{ width: 100%; max-width: 40rem; }}
.panels {{ display: grid; grid-template-columns: repeat(auto-fill, minmax(min(19rem, 100%), 1fr)); gap: .9rem 1.4rem; }}
figure {{ margin: 0; break-inside: avoid; }} figcaption {{ font-size: .93rem; }}
.table {{ overflow-x: auto; }}
table {{ border-collapse: collapse; width: 100%; font-size: .92rem; }}
th {{ text-align: left; color: {muted}; font-weight: 600; vertical-align: bottom; border-bottom: 1.5px solid {muted};
  padding: .3rem .8rem .3rem 0; }}
td {{ border-bottom: 1px solid {rule}; padding: .35rem .8rem .35rem 0; vertical-align: top; }}
li {{ margin: .15rem 0; }}
footer {{ margin-top: 2rem; border-top: 1.5px solid {accent}; padding-top: .6rem; }}
@media (max-width: 40rem) {{
  thead {{ display: none; }}
  table, tbody, tr, td {{ display: block; }}
  tr {{ border-bottom: 1px solid {rule}; padding: .45rem 0; }}
  td {{ border: 0; padding: .05rem 0; }}
  td::before {{ content: attr(data-head) ": "; color: {muted}; }}
}}
@media print {{ body {{ max-width: none; padding: 0; font-size: 11px; }} h2, h3 {{ break-after: avoid; }} }}
"""


def trend_html(answer: TrendAnswer, *, units: TrendUnits) -> str:
    """Return the report as a whole HTML document."""
    sheet = trend_sheet(answer, units=units, width=_WIDE_PX)
    style = _STYLE.format(paper=PRINT.paper, ink=PRINT.ink, muted=PRINT.muted, rule=PRINT.rule, accent=PRINT.accent,
                          font=FONT)  # fmt: skip
    pairs = "".join(f"<div><dt>{escape(name)}</dt><dd>{escape(value)}</dd></div>" for name, value in sheet["facts"])
    said = "<br>".join(escape(one) for one in sheet["headlines"])
    return (
        '<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(sheet['title'])}</title>\n<style>{style}</style>\n</head>\n<body>\n"
        f"<h1>{escape(sheet['title'])}</h1>\n<dl>{pairs}</dl>\n<p><b>{escape(sheet['caution'])}</b></p>\n"
        f'<p class="said">{said}</p>\n<p class="quiet">{escape(sheet["method"])}</p>\n'
        + "".join(_sections(sheet))
        + f"<footer><p><b>{escape(sheet['caution'])}</b></p></footer>\n</body>\n</html>\n"
    )


def _sections(sheet: Sheet) -> Iterable[str]:
    if sheet["growth"]:
        yield "<h2>Growth of play</h2>\n" + _notes(sheet["growth_notes"])
        yield f'<figure class="wide" role="img" aria-label="Growth of play by group">{sheet["growth"]}</figure>\n'
        yield _table(sheet["growth_table"], "Growth of play")
    if sheet["cohorts"]:
        yield "<h2>Mean growth curves of the cohorts</h2>\n" + _notes([sheet["cohort_note"]])
        for one in sheet["cohorts"]:
            yield f"<h3>{escape(one['kind'])}</h3>\n" + _panels(one["panels"])
    if sheet["lifetime_table"]["rows"]:
        yield "<h2>Distance to the limit</h2>\n" + _notes(sheet["crossing_notes"])
        yield _panels(sheet["crossings"]) + _table(sheet["lifetime_table"], "Distance to the limit")
        yield _notes(sheet["cannot"])
    if sheet["comparisons"]["rows"]:
        yield "<h2>Adjusted comparisons of growth</h2>\n" + _table(sheet["comparisons"], "Comparisons")
        yield _notes(sheet["comparison_notes"])
    yield "<h2>Too thin to tell</h2>\n" + _list("Growth", sheet["thin_growth"])
    yield _list("Distance to the limit", sheet["thin_lifetimes"])
    yield "<h2>Left out</h2>\n" + _notes(sheet["left_out"])


def _notes(notes: Iterable[str]) -> str:
    return "".join(f'<p class="quiet">{escape(note)}</p>\n' for note in notes)


def _list(heading: str, items: list[str]) -> str:
    if not items:
        return f"<h3>{heading}</h3>\n<p>Nothing is too thin.</p>\n"
    return f"<h3>{heading}</h3>\n<ul>" + "".join(f"<li>{escape(item)}</li>" for item in items) + "</ul>\n"


def _panels(panels: Iterable[dict[str, str]]) -> str:
    figures = "".join(
        f'<figure role="img" aria-label="{escape(one["title"], quote=True)}"><figcaption><b>{escape(one["title"])}</b> '
        f'<span class="quiet">{escape(one["about"])}</span></figcaption>{one["svg"]}</figure>\n'
        for one in panels
    )
    return f'<div class="panels">{figures}</div>\n' if figures else ""


def _table(table: Sheet, caption: str) -> str:
    heads = "".join(f'<th scope="col">{escape(head)}</th>' for head in table["heads"])
    rows = "".join(
        "<tr>"
        + "".join(
            f'<td data-head="{escape(head, quote=True)}">{escape(cell)}</td>'
            for head, cell in zip(table["heads"], row, strict=True)
        )
        + "</tr>\n"
        for row in table["rows"]
    )
    return (
        f'<div class="table"><table aria-label="{escape(caption, quote=True)}"><thead><tr>{heads}</tr></thead>'
        f"<tbody>{rows}</tbody></table></div>\n"
    )
