"""The composition root: settings and options in, everything built, nothing started."""
