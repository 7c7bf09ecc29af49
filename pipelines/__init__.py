"""The pipelines: load, fit, forecast, publish, and nightly, which runs them in order."""
