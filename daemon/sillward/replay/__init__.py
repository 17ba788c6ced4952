"""Replays from the command line: the period, the forecasts, and the running in parallel."""
