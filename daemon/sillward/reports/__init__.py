"""What the commands print: a module for each command that has a report.

Each has `text`, for people. If the command has `--json`, it also has `document`: the same as plain
types.
"""
