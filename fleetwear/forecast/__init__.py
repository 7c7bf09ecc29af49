"""Wear, usage and limits brought together: crossing probabilities and dates of every joint and vehicle."""

from fleetwear.forecast.growth import FleetFit, fit_fleet, prepare_series
from fleetwear.forecast.settings import Settings

__all__ = ["FleetFit", "Settings", "fit_fleet", "prepare_series"]
