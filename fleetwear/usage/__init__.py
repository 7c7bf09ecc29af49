"""Odometer histories -> the distribution of the distance ahead and of the next service."""

from fleetwear.usage.lateness import draw_lateness, lateness_fractions
from fleetwear.usage.moved import moved_service
from fleetwear.usage.passage import draw_crossing_days, draw_distance, draw_first_due
from fleetwear.usage.rates import UsageFit, draw_rates, fit_usage, usage_loglik
from fleetwear.usage.service import NextService, draw_next_service

__all__ = [
    "NextService",
    "UsageFit",
    "draw_crossing_days",
    "draw_distance",
    "draw_first_due",
    "draw_lateness",
    "draw_next_service",
    "draw_rates",
    "fit_usage",
    "lateness_fractions",
    "moved_service",
    "usage_loglik",
]
