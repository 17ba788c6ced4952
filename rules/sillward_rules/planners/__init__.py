"""Planners: they turn needs into chores. Each is pure and knows nothing of the others' output."""
