"""Notices: a sheet in words, and the channels that carry it."""
