"""Reports: what the commands print, for people and as JSON."""
