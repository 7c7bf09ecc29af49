"""Next service: which joints cross a limit before the vehicle is next in, soonest first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import streamlit as st

from dashboard import pictures, snapshot
from dashboard.downloads import download_button
from dashboard.listing import ROWS, Cell, Column, Markup, listing, page_of, probability, vehicle_link, window
from dashboard.messages import show as show_error
from dashboard.style import look
from fleetwear.errors import InputError
from fleetwear.planning.actions import say_action
from fleetwear.planning.coverage import say_coverage
from fleetwear.planning.flag_pages import Asked, FlagPage, FleetAtAGlance, read_to_test, read_vehicles
from fleetwear.planning.named_vehicle import find_vehicle
from fleetwear.planning.wording import begin_sentence, is_known, say_count, say_dates, say_distance, say_probability
from fleetwear.reports.flag_files import flag_file, to_csv, to_xlsx
from fleetwear.reports.inert import html_text, markdown_text
from fleetwear.vocabulary import Outcome

if TYPE_CHECKING:
    from collections.abc import Hashable
    from datetime import date

    import pandas as pd

    from fleetwear.forecast.settings import Settings

_EVERY_DEPOT = "every depot"
_HORIZONS: dict[str, float | None] = {
    "at any time": None,
    "within 30 days": 30.0,
    "within 60 days": 60.0,
    "within 90 days": 90.0,
    "within 180 days": 180.0,
    "within a year": 365.0,
}
_HOW_TO_READ = (
    "Each row is a joint in its worst load direction. The broad band is when its vehicle is next in; the "
    "bar is when the joint crosses its limit. Both run from 5 to 95\u00a0%, their middle marked; an arrow "
    "means later than is drawn, the dotted line is the as-of date. The number is the probability of being "
    "over the limit at the next service: the more a bar stands out from the page, the higher it is."
)
_NONE_PRESSES = (
    "None of these vehicles has a joint over its limit, a confirmed symptom at a joint, or a crossing "
    "forecast above the accepted risk. That clears none of them."
)
_COLUMNS = [
    Column("Unit", tight=True, bare=True),
    Column("Depot", tight=True),
    Column("Outcome, and why", bare=True),
    Column("Probability, this joint", tight=True),
    Column("Probability, any joint", tight=True),
    Column("Next service (5 to 95\u00a0%)"),
    Column("Distance now", tight=True),
]
_TEST_COLUMNS = [
    Column("Unit", tight=True, bare=True),
    Column("Next service", tight=True),
    Column("Joints and load directions, and why"),
]
_XLSX = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet"
_NO_VEHICLE = "No vehicle answers to these filters."
_DRAWN = 15
_MOST_DRAWN = 150


def show() -> None:
    """Write the page."""
    folder, number = snapshot.current()
    fleet = snapshot.fleet(folder, number)
    run = fleet.run
    st.title("Next service")
    st.markdown(
        f"Which joints will be over a limit before their vehicle is next in. As of **{run.as_of:%Y-%m-%d}**, "
        f"forecast number {run.forecast_id}, made {run.made_at:%Y-%m-%d %H:%M}."
    )
    asked = _choose(fleet, folder, number)
    if asked is None:
        return
    page = snapshot.flag_page(folder, number, asked, first=0, rows=ROWS, drawn=_DRAWN)
    st.markdown(_counted(page))
    _picture(page, asked, folder, number)
    _table(page, asked, folder, number)
    _to_test(asked, run.as_of, folder, number)
    _settings(run.settings)


def first_page(folder: str, number: int) -> FlagPage:
    """Return what the page shows before anything is chosen."""
    return snapshot.flag_page(folder, number, Asked(), first=0, rows=ROWS, drawn=_DRAWN)


def _choose(fleet: FleetAtAGlance, folder: str, number: int) -> Asked | None:
    """Return which vehicles are asked for, nothing where one is sought that is not there."""
    settings = fleet.run.settings
    usual = round(1.0 / (1.0 + settings.cost_ratio), 2)
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        depot = st.selectbox("Depot", [_EVERY_DEPOT, *fleet.depots], key="depot", bind="query-params", width=158)
        horizon = st.selectbox("Next service", list(_HORIZONS), key="horizon", bind="query-params", width=158)
        sought = st.text_input(
            "Vehicle",
            key="sought",
            placeholder="unit, VIN or plate",
            bind="query-params",
            width=158,
            max_chars=60,
        )
        risk = st.slider(
            "Accepted risk",
            min_value=0.01,
            max_value=0.5,
            value=usual,
            step=0.01,
            key="risk",
            width=158,
            help="The highest probability of being over a limit that you accept. Joints that carry load are "
            f"held to {say_probability(settings.load_carrying_cap)} at most.",
        )
        outcomes = st.multiselect(
            "Outcome",
            [str(outcome) for outcome in Outcome],
            key="outcome",
            placeholder="every outcome",
            width=300,
        )
    unit = None
    if sought.strip():
        try:
            named = find_vehicle(snapshot.cursor(folder, number), sought, on_date=fleet.run.as_of)
        except InputError as error:
            show_error(error)
            return None
        unit = named.unit
        if named.told:
            st.markdown(markdown_text(named.told))
    return Asked(
        depot=None if depot == _EVERY_DEPOT else depot,
        horizon_days=_HORIZONS[horizon],
        unit=unit,
        outcomes=tuple(outcomes),
        accepted_risk=None if abs(risk - usual) < 1e-9 else risk,
    )


def _counted(page: FlagPage) -> str:
    """Return the number of vehicles of each outcome, in one sentence."""
    if not page.counts:
        return _NO_VEHICLE
    total = say_count(sum(page.counts.values()), "vehicle", "vehicles")
    parts = [f"{outcome.replace(';', ',')}: **{count:,}**" for outcome, count in page.counts.items()]
    return f"{total}, counted by the most pressing thing said of each. {begin_sentence('; '.join(parts))}."


def _picture(page: FlagPage, asked: Asked, folder: str, number: int) -> None:
    st.subheader("Joints that press")
    if not page.pressing_in_all:
        st.markdown(_NONE_PRESSES)
        return
    st.html(f'<p class="fw-quiet" style="margin:0">{_HOW_TO_READ}</p>')
    drawn = page.pressing
    most = min(page.pressing_in_all, _MOST_DRAWN)
    all_or_most = f"all {most}" if most == page.pressing_in_all else f"the first {most} of {page.pressing_in_all:,}"
    label = f"Draw {all_or_most} joints, not only the {_DRAWN} most pressing"
    if most > _DRAWN and st.toggle(label, key="all_joints"):
        drawn = snapshot.flag_page(folder, number, asked, first=0, rows=ROWS, drawn=_MOST_DRAWN).pressing
    said = tuple(drawn[["vehicle_id", "position_id", "direction", "outcome"]].itertuples(index=False, name=None))
    pictures.write(
        pictures.risk_spec(folder, number, said, look().name, _drawn=drawn, _as_of=page.run.as_of),
        alt="When each joint crosses its limit, against when its vehicle is next in.",
    )


def _table(page: FlagPage, asked: Asked, folder: str, number: int) -> None:
    st.subheader("Vehicles")
    if not page.shown:
        st.markdown(_NO_VEHICLE)
        return
    with st.container(horizontal=True, vertical_alignment="bottom", gap="small"):
        stem = f"next_service_{page.run.as_of:%Y-%m-%d}"

        def file() -> pd.DataFrame:
            return flag_file(*read_vehicles(snapshot.cursor(folder, number), asked))

        download_button("Download CSV", lambda: to_csv(file()), f"{stem}.csv", "text/csv", on_click="ignore")
        download_button(
            "Download XLSX", lambda: to_xlsx(file(), sheet="next service"), f"{stem}.xlsx", _XLSX, on_click="ignore"
        )
        first = page_of(page.shown, key="vehicle_rows").start
        page = snapshot.flag_page(folder, number, asked, first=first, rows=ROWS, drawn=_DRAWN)
    rows = [_row(row) for row in page.vehicles.to_dict("records")]
    listing(_COLUMNS, rows, caption="Vehicles, the most pressing first")


def _row(row: dict[Hashable, Any]) -> list[Cell]:
    outcome = str(row["outcome"])
    done = say_action({str(name): value for name, value in row.items()}, joint=row["action_joint"])
    since = f"<br><b>{html_text(begin_sentence(done))}.</b>" if done else ""
    left = say_coverage(row)
    quiet = f'<br><span class="fw-quiet">{html_text(left)}.</span>' if left else ""
    why = Markup(f"<b>{html_text(begin_sentence(outcome))}.</b> {html_text(str(row['reason']))}{since}{quiet}")
    return [
        vehicle_link(str(row["unit"])),
        str(row["depot"] or ""),
        why,
        probability(row["p_over_next"], look(), otherwise="no limit" if is_known(row["joint"]) else "of no joint"),
        probability(row["p_any_over_next"], look()),
        window(say_dates(row["next_service_date_05"], row["next_service_date_50"], row["next_service_date_95"])),
        say_distance(row["odometer_now"], str(row["distance_unit"])),
    ]


def _to_test(asked: Asked, as_of: date, folder: str, number: int) -> None:
    """Write what to test; it is worked out when it is asked for, since a large fleet has many thousands of rows."""
    section = st.expander("What to test at the next visit", key="to_test_section", on_change="rerun")
    if not section.open:
        return
    with section:
        found = read_to_test(snapshot.cursor(folder, number), asked, vehicles=ROWS)
        vehicles = say_count(found.vehicles_in_all, "vehicle", "vehicles")
        st.markdown(
            f"Joints and load directions that the last visit left untested, or that are to be measured again, of the "
            f"vehicles chosen above: {say_count(found.in_all, 'row', 'rows')}, {vehicles}. A joint tested in one load "
            "direction only has not been cleared."
        )
        if not found.in_all:
            return
        download_button(
            "Download CSV",
            lambda: to_csv(read_to_test(snapshot.cursor(folder, number), asked).rows),
            f"to_test_{as_of:%Y-%m-%d}.csv",
            "text/csv",
            key="to_test",
            on_click="ignore",
        )
        rows: list[list[Cell]] = [
            [str(unit), str(own["next_service"].iloc[0]), _joints_asked(own)]
            for unit, own in found.rows.groupby("unit", sort=False)
        ]
        listing(_TEST_COLUMNS, rows, caption="What to test, the most pressing vehicles first")


def _joints_asked(own: pd.DataFrame) -> str:
    """Return each joint of a vehicle with its load directions to test, under what they have in common."""
    parts = []
    for why, rows in own.groupby("why", sort=False):
        names = [f"{joint}, {', '.join(one['direction'])}" for joint, one in rows.groupby("joint", sort=False)]
        parts.append(f"{begin_sentence(str(why))}: {'; '.join(names)}.")
    return " ".join(parts)


def _settings(settings: Settings) -> None:
    usual, cap = 1.0 / (1.0 + settings.cost_ratio), settings.load_carrying_cap
    with st.expander("Settings of this forecast"):
        st.markdown(
            f"- A joint that crosses its limit unseen is taken to cost {settings.cost_ratio:g} times an "
            f"early replacement: act when the probability is above {say_probability(usual)}.\n"
            f"- Joints that carry load: never accept more than {say_probability(cap)}.\n"
            f"- {settings.draws:,} joint draws of every vehicle.\n"
            "- A vehicle without a service interval on record is given "
            f"{settings.default_interval_km:,.0f} km or {settings.default_interval_months:g} months.\n\n"
            "These are assumptions of whoever made the forecast, not measurements."
        )
