"""Style: the look that fits the reader's theme, and the few rules of layout that Streamlit lacks."""

from __future__ import annotations

import streamlit as st

from fleetwear.reports.looks import DARK, LIGHT, Look

_RULES = """
<style>
[data-testid="stMainBlockContainer"] {{ max-width: 1180px; padding-top: 4.5rem; }}
.fw-table {{ border-collapse: collapse; width: 100%; font-size: 0.95rem; line-height: 1.4; }}
.fw-table th {{ text-align: left; font-weight: 600; color: {muted}; border-bottom: 1.5px solid {muted};
  padding: 0.35rem 0.9rem 0.35rem 0; vertical-align: bottom; }}
.fw-table td {{ border-bottom: 1px solid {rule}; padding: 0.5rem 0.9rem 0.5rem 0; vertical-align: top;
  overflow-wrap: break-word; }}
.fw-table td.fw-tight, .fw-table th.fw-tight {{ white-space: nowrap; overflow-wrap: normal; }}
.fw-table td.fw-broad {{ min-width: 10.5rem; }}
.fw-span {{ white-space: nowrap; }}
.fw-table a {{ color: {accent}; font-weight: 600; }}
.fw-table .fw-label {{ display: none; }}
.fw-swatch {{ display: inline-block; width: 0.8em; height: 0.8em; border: 1px solid {ink};
  margin-right: 0.45em; vertical-align: -0.06em; }}
.fw-quiet {{ color: {muted}; }}
[data-testid="stMain"] h1 {{ font-size: 2.1rem; padding: 0.4rem 0; }}
[data-testid="stMain"] h3 {{ font-size: 1.4rem; padding-top: 1.2rem; }}
.fw-facts {{ display: grid; grid-template-columns: repeat(auto-fill, minmax(210px, 1fr)); gap: 0.6rem 1.5rem;
  padding: 0 !important; margin: 0 !important; }}
.fw-facts dt {{ color: {muted}; font-size: 0.9rem; }}
.fw-facts dt, .fw-facts dd {{ margin: 0 !important; padding: 0; }}
.fw-facts dd {{ font-size: 1.02rem; overflow-wrap: anywhere; }}
.fw-back {{ color: {accent}; }}
[data-testid="stBaseButton-primary"] p, [data-testid="stBaseButton-primaryFormSubmit"] p {{ color: {paper}; }}
.fw-notes {{ padding-left: 1.3rem; font-size: 0.9rem; }}
.fw-notes li {{ font-size: 0.9rem; }}
.fw-said {{ border-left: 4px solid {accent}; padding: 0.15rem 0 0.15rem 0.9rem; margin: 0; }}
.fw-said b {{ font-size: 1.15rem; font-weight: 600; }}
.fw-caution {{ color: {muted}; font-size: 0.95rem; border-top: 1px solid {rule}; padding-top: 0.6rem; }}
@media (max-width: 760px) {{
  [data-testid="stMainBlockContainer"] {{ padding-left: 1rem; padding-right: 1rem; }}
  .fw-table thead {{ position: absolute; clip-path: inset(50%); width: 1px; height: 1px; overflow: hidden; }}
  .fw-table, .fw-table tbody, .fw-table tr, .fw-table td {{ display: block; width: 100%; }}
  .fw-table tr {{ border-bottom: 1px solid {rule}; padding: 0.55rem 0; }}
  .fw-table td, .fw-table td.fw-tight {{ border: 0; padding: 0.08rem 0; white-space: normal; }}
  .fw-table td:empty {{ display: none; }}
  .fw-table .fw-label {{ display: inline; color: {muted}; }}
  .fw-facts {{ grid-template-columns: repeat(auto-fill, minmax(150px, 1fr)); }}
}}
</style>
"""


_FOLLOW = """
let asked = "";
export default function ({ data, setTriggerValue }) {
  const app = document.querySelector('[data-testid="stApp"]');
  if (!app) return;
  const look = () => {
    const shown = getComputedStyle(app).colorScheme;
    if (shown === data.drawn) asked = "";
    else if (["light", "dark"].includes(shown) && shown !== asked) setTriggerValue("look", asked = shown);
  };
  look();
  const watch = new MutationObserver(look);
  watch.observe(app, { attributes: true, attributeFilter: ["class"] });
  return () => watch.disconnect();
}
"""
"""Asks for the page anew, once, where the theme around it is not the one that it was drawn for. Streamlit gives its
outermost element another class when the theme changes, by the system or in its menu, and runs nothing then."""

_follower = st.components.v2.component("fleetwear_look", js=_FOLLOW)


def follow(drawn: Look) -> None:
    """Have the page drawn anew when the reader's theme changes while it is open: its own colours, and its charts."""
    _follower(key="look", data={"drawn": drawn.name}, height="content", on_look_change=lambda: None)


def look() -> Look:
    """Return the look of the reader's theme."""
    return DARK if st.context.theme.type == "dark" else LIGHT


def lay_out(chosen: Look) -> None:
    """Write the rules of layout into the page."""
    st.html(
        _RULES.format(ink=chosen.ink, muted=chosen.muted, rule=chosen.rule, accent=chosen.accent, paper=chosen.paper)
    )
