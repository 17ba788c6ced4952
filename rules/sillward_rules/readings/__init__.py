"""Readings: what thermometers and hygrometers at the spots have shown, and what follows from it."""
