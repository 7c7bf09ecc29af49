"""Trends of a whole record: growth of play, cohorts' mean curves, distances to the limit, and what is too thin."""

from fleetwear.trends.answer import TrendAnswer, answer
from fleetwear.trends.growth import Density, cohort_curves, growth_by, growth_densities
from fleetwear.trends.lifetimes import LifetimeTrend, lifetimes_by
from fleetwear.trends.record import FACTORS, Trends, check_trend_question, read_trends
from fleetwear.trends.thin import ThinGroup, thin_groups, thin_lifetimes

__all__ = [
    "FACTORS", "Density", "LifetimeTrend", "ThinGroup", "TrendAnswer", "Trends", "answer", "check_trend_question",
    "cohort_curves", "growth_by", "growth_densities", "lifetimes_by", "read_trends", "thin_groups", "thin_lifetimes",
]  # fmt: skip
