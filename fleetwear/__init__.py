"""Suspension and steering joint wear over a fleet's repeat visits: tracking and forecasting."""

__version__ = "0.1.0"
