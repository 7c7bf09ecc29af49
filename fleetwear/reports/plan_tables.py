"""The weeks ahead as tables, with a unit beside every measure."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from fleetwear.planning.wording import say_probability
from fleetwear.reports.tables import day, done, own_units

if TYPE_CHECKING:
    from fleetwear.planning.ahead import Plan

WORTH_LISTING = 0.05
"""Expected pieces or hours below which a row is left out of page and terminal; files have them all."""


def crossing_table(plan: Plan) -> pd.DataFrame:
    """Return the joints that press, by week and depot."""
    rows = plan.crossing
    return pd.DataFrame(
        {
            "week_of": day(rows["week_start"]),
            "depot": rows["depot"],
            "unit": rows["unit"],
            "joint": rows["joint"],
            "outcome": rows["outcome"],
            "done": done(rows),
            "when": rows["when"],
            "probability": rows["p_over_next"].astype(float).round(3),
            "accepted_risk": rows["accepted_risk"].astype(float).round(3),
            "next_service": day(rows["next_service_date_50"]),
            "reason": rows["reason"],
        }
    )


def order_table(plan: Plan) -> pd.DataFrame:
    """Return the parts to order, in pieces."""
    rows = plan.orders
    return pd.DataFrame(
        {
            "depot": rows["depot"],
            "part_number": rows["part_number"],
            "to_order": rows["to_order"],
            "order_by": day(rows["order_by"]),
            "days_late": rows["late"],
            "expected_pieces": rows["expected"].astype(float).round(2),
            "covering_pieces": rows["covers"],
            "share_covered": plan.settings.cover,
            "on_hand": rows["on_hand"],
            "on_order": rows["on_order"],
            "needed_from": day(rows["needed_from"]),
            "lead_days": rows["lead_days"],
            "note": rows["note"],
        }
    )


def worth_listing(orders: pd.DataFrame) -> pd.DataFrame:
    """Return the orders, of `order_table`, that are worth a row on a page."""
    return orders[(orders["to_order"] > 0) | (orders["expected_pieces"] >= WORTH_LISTING)].reset_index(drop=True)


def worth_hours(hours: pd.DataFrame) -> pd.DataFrame:
    """Return the bay hours, of `bay_table`, that are worth a row on a page."""
    listed = (hours["covering_hours"] > 0.0) | (hours["expected_hours"] >= WORTH_LISTING)
    return hours[listed].reset_index(drop=True)


def bay_table(plan: Plan) -> pd.DataFrame:
    """Return the bay hours by week and depot."""
    rows = plan.bays
    return pd.DataFrame(
        {
            "week_of": day(rows["week_start"]),
            "depot": rows["depot"],
            "expected_hours": rows["expected_hours"].astype(float).round(2),
            "covering_hours": rows["covers_hours"].astype(float).round(2),
            "share_covered": plan.settings.cover,
            "expected_jobs": rows["expected_jobs"].astype(float).round(2),
            "expected_alignments": rows["expected_alignments"].astype(float).round(2),
            "jobs_without_hours": rows["without_hours"].astype(float).round(2),
        }
    )


def together_table(plan: Plan) -> pd.DataFrame:
    """Return the other sides of pressing joints, with the cost of doing them now against later."""
    rows = plan.together
    return pd.DataFrame(
        {
            "unit": rows["unit"],
            "depot": rows["depot"],
            "joint": rows["joint"],
            "done_with": rows["done_with"],
            "over_by_service_after_next": rows["p_after_next"].astype(float).round(3),
            "cost_now": rows["cost_now"].astype(float).round(2),
            "expected_cost_later": rows["cost_later"].astype(float).round(2),
            "cheaper": ["not known" if note else "now" if now else "later" for now, note in
                        zip(rows["now"], rows["note"], strict=True)],
            "note": rows["note"],
        }
    )  # fmt: skip


def check_table(rows: pd.DataFrame) -> pd.DataFrame:
    """Return the next checks of joints, rows of ``Plan.checks``, distances in the vehicle's own unit."""
    return pd.DataFrame(
        {
            "unit": rows["unit"],
            "depot": rows["depot"],
            "joint": rows["joint"],
            "check": rows["when"],
            "by_odometer": own_units(rows["check_odometer"], rows["distance_unit"], stored_in="km"),
            "distance_unit": rows["distance_unit"],
            "about": day(rows["check_date"]),
            "before_service": rows["before_service"].map({True: "yes", False: "no"}),
            "accepted_risk": rows["accepted_risk"].astype(float).round(3),
            "outcome": rows["outcome"],
        }
    )


def assumption_lines(plan: Plan) -> list[str]:
    """Return what the plan takes for granted, a sentence each."""
    own, run = plan.settings, plan.flags.run
    moved = []
    if own.shift_days:
        moved.append(f"every service is moved by {own.shift_days:+g} days")
    if own.stretch != 1.0:
        moved.append(f"every interval is {own.stretch:g} times as long")
    first = f"From forecast {run.forecast_id} as of {run.as_of}; " + (", ".join(moved) or "services as forecast") + "."
    return [
        first,
        f"Quantities and hours cover {own.cover:.0%} of the joint draws; a joint counts where it is over its limit "
        "when its vehicle is in. One that is replaced earlier by choice comes on top.",
        "A joint over its limit or with a confirmed symptom is counted in the first week.",
        f"Bay hours of an alignment, counted once a visit: {own.alignment_hours:g} (assumption).",
        f"A bay hour costs {own.hour_cost:g} and another day off the road {own.visit_cost:g}, in the currency of the "
        "parts file (assumptions, without a source).",
        "Doing the other side now is called cheaper where part and labour cost less than the probability of being "
        "over by the service after the next, times part, labour, alignment and day off the road.",
        f"Joints that carry load are held to a risk of {say_probability(run.settings.load_carrying_cap)} at most. A "
        "next check never takes the place of an inspection that is due.",
    ]


def plan_sheets(plan: Plan) -> dict[str, pd.DataFrame]:
    """Return every table of the plan, by the name of its sheet."""
    return {
        "by week": crossing_table(plan),
        "parts to order": order_table(plan),
        "bay hours": bay_table(plan),
        "together": together_table(plan),
        "next checks": check_table(plan.checks),
        "not covered": plan.gaps,
        "assumptions": pd.DataFrame({"assumption": assumption_lines(plan)}),
    }
