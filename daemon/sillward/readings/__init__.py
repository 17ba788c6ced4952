"""Readings of the spots: taken by hand, from files and from sensors, and what they teach."""
