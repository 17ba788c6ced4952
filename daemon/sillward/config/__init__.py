"""What the grower configures: settings from the environment, and the collection file.

Settings: `settings` with `credentials` (secrets in files), and `stopped_notice_settings`, which
needs neither to be valid.

The collection file: `collection_file` reads it as TOML (`bounded_toml`), `loader` reads its tables
by the `models` (`validation` puts their errors in words, with a `place` and its line from
`toml_lines`), `plant_tables` lays defaults, plants and exceptions over each other, `cross_checks`
compares what they say, and `build_collection` makes a `household` of them. `group_lookup`
finds culture groups by any name; `json_schema` describes the file to editors.
"""
