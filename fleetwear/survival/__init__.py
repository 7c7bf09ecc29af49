"""Distances to an event that is known only to lie between two looks: their distribution, arrays in and results out."""

from fleetwear.survival.distributions import LifeDistribution, fit_distribution, fit_distributions
from fleetwear.survival.lifetimes import Lifetimes
from fleetwear.survival.turnbull import Turnbull, turnbull

__all__ = ["LifeDistribution", "Lifetimes", "Turnbull", "fit_distribution", "fit_distributions", "turnbull"]
