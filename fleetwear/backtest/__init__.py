"""Backtests: forecasts of the past, made with only what had happened by then, against the readings that followed."""
