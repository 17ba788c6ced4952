"""What a scene remembers of a night that has been evaluated; `nights` fills it."""

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.planners.scene.crossings import find_returns
from sillward_rules.plants.rule_firing import Firing
from sillward_rules.weather.spot_columns import SpotColumns


@dataclass(frozen=True, eq=False)
class RuleResult:
    """What one rule found in a night. Arrays are (class,), for the classes of its firing.

    What only reasons tell is worked out when it is first read.

    - firing: the rule.
    - rows: those of its firing that were looked at; fires (row, class): where it fires in them;
      in_night (row,): whether they are in its hours of that night. Empty if it cannot have fired.
    - fired: whether the rule fires.
    - crossing: when its bound is first crossed [unix s].
    - early: when it is first crossed on the early side of the forecast [unix s]; infinite where it
      is not.
    - hours, degree_hours: how long and how deep below a bound on temperature [h], [K h]; else NaN.
    - brief: whether that is so short that a plant bears it, provided that it stands the cold.
    """

    firing: Firing
    rows: np.ndarray
    fires: np.ndarray
    in_night: np.ndarray
    fired: np.ndarray
    crossing: Array
    early: Array
    hours: Array
    degree_hours: Array
    brief: np.ndarray

    @classmethod
    def nothing(cls, firing: Firing) -> "RuleResult":
        """Return the result of a rule that does not fire for any of its classes."""
        size = firing.limit.size
        rows, nowhere = np.arange(0), np.zeros((0, size), dtype=bool)
        no, zero = np.zeros(size, dtype=bool), np.zeros(size)
        never, in_night = np.full(size, np.inf), np.zeros(0, dtype=bool)
        return cls(firing, rows, nowhere, in_night, no, zero, never, zero, zero, no)

    @cached_property
    def worst_row(self) -> np.ndarray:
        """(class,) the row of the worst value, in the hours that count."""
        firing, rows = self.firing, self.rows
        if not rows.size:
            return np.zeros(self.fired.shape, dtype=np.int64)
        sign = 1.0 if firing.rule.direction == "below" else -1.0
        counts = self.fires | (self.in_night[:, None] & ~self.fired)
        beyond = np.where(counts, sign * (firing.values[rows] - firing.bound[rows]), np.inf)
        return np.asarray(rows[np.argmin(beyond, axis=0)])

    @cached_property
    def until(self) -> Array:
        """(class,) when the bound is crossed back for good [unix s]."""
        if not self.rows.size:
            return np.zeros(self.fired.shape)
        last = self.rows.size - 1 - np.argmax(self.fires[::-1], axis=0)
        return find_returns(self.firing, self.rows[last])


@dataclass(frozen=True, slots=True, eq=False)
class MostUrgent:
    """The most urgent rule so far for each cohort. Arrays are (cohort,), updated in place.

    - due: by when the plants must be under cover because of it [unix s]; infinite for no rule.
    - known: whether it fires in an hour that is known, rather than in one that may be cold.
    - source: the place of the rule among `NightResults.rules`.
    """

    due: Array
    known: np.ndarray
    source: np.ndarray

    @classmethod
    def none(cls, count: int) -> "MostUrgent":
        """Return that no rule has asked for anything, for so many cohorts."""
        no = np.zeros(count, dtype=bool)
        return cls(np.full(count, np.inf), no, np.zeros(count, dtype=np.int64))

    @property
    def asked(self) -> np.ndarray:
        """(cohort,) whether any rule asks for something."""
        return np.isfinite(self.due)

    def update(self, cohorts: np.ndarray, due: Array, known: np.ndarray, source: int) -> None:
        """Enter a rule for those of these cohorts for which it is more urgent.

        due, known : of these cohorts. At the same hour a known number says more than an unknown
        one.
        """
        sooner = due < self.due[cohorts]
        better_known = (due == self.due[cohorts]) & known & ~self.known[cohorts]
        first = sooner | better_known
        chosen = cohorts[first]
        self.due[chosen] = due[first]
        self.known[chosen] = known[first]
        self.source[chosen] = source


@dataclass(frozen=True, slots=True, eq=False)
class NightResults:
    """All that the rules on carrying in found in a night. A memo, filled rule by rule.

    - must_be_in: what asks for cover; dips: what would, if the plants did not bear a brief dip.
    - fully_known (cohort,): whether every hour that counts is known.
    - rules: the result of each rule, in the order in which they were entered.
    - chances: of firings, (class,), added as they are asked for.
    - harm (cohort,): the expected harm that plants are spared under cover; NaN where it is not
      known, and for plants without a comfort limit.
    - goals (cohort,): the spot columns of the covers to which they would go.
    - doubt: by when plants must be in for the harm that is expected, whether or not a rule asks.

    It must not refer to the scene that keeps it. Objects in a reference cycle stay, with all their
    hours, until the garbage collector runs, and a daemon would need some MB more.
    """

    must_be_in: MostUrgent
    dips: MostUrgent
    doubt: MostUrgent
    fully_known: np.ndarray
    harm: Array
    goals: SpotColumns
    rules: list[RuleResult] = field(default_factory=list)
    chances: dict[Firing, Array] = field(default_factory=dict)

    @classmethod
    def empty(cls, goals: SpotColumns) -> "NightResults":
        """Return the results before any rule is evaluated. goals : as above."""
        count = goals.size
        return cls(
            must_be_in=MostUrgent.none(count),
            dips=MostUrgent.none(count),
            doubt=MostUrgent.none(count),
            fully_known=np.ones(count, dtype=bool),
            harm=np.full(count, np.nan),
            goals=goals,
        )
