"""What all planners look at, worked out once for a moment, and what they return.

- `scene`: the moment with everything below, and the rules that fire; it builds on `surroundings`,
  the climate and the nights, and on `cohorts`, the plants that are alike.
- `night_results`, `night_risk`, `crossings`: about one night under the rules.
- `places`: where the cohorts stand by day.
- `errands`: what planners return.
"""
