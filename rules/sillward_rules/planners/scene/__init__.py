"""What all planners look at, worked out once for a moment, and what they return.

`surroundings` are the climate and the nights, `cohorts` the plants that are alike; `scene` is both
with the rules that fire. `night_risk`, `crossings` and `verdict` are about one night, `places` is
about where plants stand. Planners return `errands`.
"""
