"""What thermometers at the spots catch of what the dusk round misses, and how often they cry wolf.

A real year of three airports, each as the forecast of the others (`tests.support.watched_year`),
with the usual caution, and with none, which leaves more to catch. 12 replays of a year, of half a
minute each or more, in one go: what thermometers have taught counts all year.
"""

import sys

from sillward_rules.replay.engine import replay
from sillward_rules.replay.summary import Totals, totals
from tests.bench.table import Row, report
from tests.support.night_pairs import AIRPORT_PAIRS
from tests.support.watched_year import plan

CAUGHT, FALSE_A_YEAR = 0.8, 5.0
"""Goals: the share of plants a kelvin or more under their limit that alarms call in before their
low, and the false alarms a year, with the usual caution and over all pairs."""


def rows_of(what: str, found: Totals, years: float) -> list[Row]:
    """The figures of a replay."""
    share = float("nan") if found.caught_share is None else found.caught_share
    return [
        Row(f"{what}: left a kelvin under", found.deep_left, "plants"),
        Row(f"{what}: caught before their low", share),
        Row(f"{what}: alarms", found.alarms / years, "a year"),
        Row(f"{what}: false alarms", found.false_alarms / years, "a year"),
    ]


def main() -> int:
    """Measure, print, and return the exit status."""
    rows: list[Row] = []
    for caution in (None, 0.0):
        results = [replay(plan(*pair, caution=caution)) for pair in AIRPORT_PAIRS]
        for (forecast, truth), result in zip(AIRPORT_PAIRS, results, strict=True):
            years = len(result.nights) / 365.25
            of = "usual caution" if caution is None else "no caution"
            rows += rows_of(f"{forecast} for {truth}, {of}", totals(result.nights), years)
        nights = [night for result in results for night in result.nights]
        found, years = totals(nights), len(nights) / 365.25
        together = rows_of("all pairs", found, years)
        if caution is None:
            together[1] = Row("all pairs: caught", together[1].figure, at_least=CAUGHT)
            together[3] = Row(
                "all pairs: false alarms", together[3].figure, "a year", at_most=FALSE_A_YEAR
            )
        rows += together
    return report("Thermometers at the spots", rows)


if __name__ == "__main__":
    sys.exit(main())
