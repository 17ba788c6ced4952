"""Text and whoever reads it: columns, units, what can be shown, the terminal."""
