"""Needless trips at equal harm: a rule on expected harm against the best fixed margin.

    python -m tests.bench.harm_against_margins [PAIRS.csv ...]

Real pairs of forecast and truth (`tests/support/night_pairs.py`), and errors that wander on real
truth, many years of them. Further pairs, such as the minima that a weather service forecast for a
station, are read from CSV files: columns date, forecast, came, and if known members (standard
deviation of the ensemble [K]), wind [m/s], above_dew_point [K].
"""

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from sillward_rules.arrays import Array
from tests.bench.table import say
from tests.support.harm_curves import (
    SHARES,
    TAUGHT,
    Comparison,
    Decisions,
    as_told,
    compare,
    decisions,
    expected_of,
)
from tests.support.night_pairs import (
    AIRPORT_PAIRS,
    NightPairs,
    evening_rule,
    from_csv,
    station_pair,
    with_ar1_errors,
)

SEEDS = 12
DRAWS = 200
WEEK = 7


@dataclass(frozen=True)
class Row:
    """One line of the table: several years or pairs that are counted together."""

    name: str
    pairs: Sequence[NightPairs]


def rows(files: Sequence[Path]) -> Iterator[Row]:
    """What is compared."""
    stations = [station_pair(*names) for names in AIRPORT_PAIRS]
    for pairs in stations:
        yield Row(pairs.name, [pairs])
    yield Row("all six", stations)
    rule = evening_rule()
    yield Row(rule.name, [rule])
    for truth in ("EWR", "JFK", "Hesse"):
        years = [with_ar1_errors(truth, seed) for seed in range(SEEDS)]
        yield Row(f"{years[0].name}, {SEEDS} seeds", years)
    for path in files:
        pairs = from_csv(path)
        yield Row(pairs.name, [pairs])


def both(of: Row) -> list[list[tuple[Decisions, float]]]:
    """What was decided with nothing learned, and with what past nights taught; the bias of each."""
    return [
        [
            (decisions(pairs, expected(pairs)).of(np.arange(len(pairs.days)) >= TAUGHT), bias)
            for pairs in of.pairs
            for bias in [float(pairs.error_k.mean())]
        ]
        for expected in (as_told, expected_of)
    ]


def together(decided: Sequence[tuple[Decisions, float]]) -> Comparison:
    """Trips of several years or pairs, each at its own harm and against its own best margin."""
    each = [compare(*one) for one in decided]
    return Comparison(
        np.sum([one.by_margin for one in each], axis=0),
        np.sum([one.by_harm for one in each], axis=0),
    )


def sampled(decided: Sequence[tuple[Decisions, float]], rng: np.random.Generator) -> Array:
    """What came out if the weeks were drawn again, with replacement: 5 and 95 %."""
    fewer = []
    for _ in range(max(DRAWS // len(decided), 20)):
        again = []
        for of, bias in decided:
            weeks = of.dose.shape[0] // WEEK
            drawn = rng.integers(0, weeks, weeks)[:, None] * WEEK + np.arange(WEEK)
            again.append((of.of(drawn.reshape(-1)), bias))
        fewer.append(together(again).fewer)
    return np.asarray(np.quantile(fewer, [0.05, 0.95]))


def main(files: Sequence[str]) -> int:
    """Print the table."""
    rng = np.random.default_rng(1)
    levels = ", ".join(f"{share:.0%}" for share in SHARES)
    say(f"Needless trips spared at the same harm, mean over {levels} of the bare forecast's harm")
    say("(negative: more trips), and 5 to 95 % from drawing weeks again.\n")
    say(f"{'':28}{'nights':>7}{'bias':>7}{'sd':>6}   {'as told':>22}   {'learned':>22}")
    for row in rows([Path(file) for file in files]):
        error = np.concatenate([pairs.error_k for pairs in row.pairs])
        cells = []
        for decided in both(row):
            low, high = sampled(decided, rng)
            cells.append(f"{together(decided).fewer:+.0%} ({low:+.0%} to {high:+.0%})")
        say(
            f"{row.name:28}{error.size:7d}{error.mean():+7.2f}{error.std():6.2f}"
            f"   {cells[0]:>22}   {cells[1]:>22}"
        )
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
