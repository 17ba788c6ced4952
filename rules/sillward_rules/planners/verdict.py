"""What a scene keeps of a night that has been judged; `nights` judges it."""

from dataclasses import dataclass, field

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.plants.rule_firing import Firing


@dataclass(frozen=True, slots=True, eq=False)
class Found:
    """Per class of a firing: whether it fires, from when on the bound is crossed, and the worst.

    until: when it is crossed back for good [unix s]. hours, degree_hours: under a bound on
    temperature in the night, else NaN. brief: under it so shortly that a plant bears it, if it
    stands the cold itself.
    """

    fired: np.ndarray
    crossing: Array
    until: Array
    worst_row: np.ndarray
    hours: Array
    degree_hours: Array
    brief: np.ndarray


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """What a scene keeps of a night that has been judged.

    It must not hold the scene: a scene in a circle would stay, with all its hours, until the
    collector of garbage comes by, and a daemon would take some MB more.
    urgency: before when a cohort must be under cover, and before when if it did not bear the dip
    [unix s], inf if never; known, source: whether that is of an hour that is known, and which of
    the sources says so; all three are (2, cohort). judged: every hour that counts is known.
    chances: of firings, per class, as they are asked for.
    """

    urgency: Array
    judged: np.ndarray
    known: np.ndarray
    source: np.ndarray
    sources: list[tuple[Firing, Found]]
    chances: dict[Firing, Array] = field(default_factory=dict)
