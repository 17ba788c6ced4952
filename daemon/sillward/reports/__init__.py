"""What the commands print: a module for each command that has a report.

A report has `text`, for people, and `document`, the same as plain types for JSON, if the command has
`--json`.
"""
