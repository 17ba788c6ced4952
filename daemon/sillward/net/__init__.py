"""The network: one GET at a time, bounded in time and size."""
