"""What a scene keeps of a night that has been judged; `nights` judges it."""

from dataclasses import dataclass, field

import numpy as np

from sillward_rules.arrays import Array
from sillward_rules.plants.rule_firing import Firing


@dataclass(frozen=True, slots=True, eq=False)
class Finding:
    """What a rule finds in a night. Arrays are (class,), for the classes of its firing.

    fired: whether it fires. crossing, until: when its bound is crossed first, and when it is
    crossed back for good [unix s]. worst_row: row of the worst value. hours, degree_hours: below a
    bound on temperature in the night [h], [K h], else NaN. brief: below it so shortly that a plant
    bears it, if it stands the cold itself.
    """

    fired: np.ndarray
    crossing: Array
    until: Array
    worst_row: np.ndarray
    hours: Array
    degree_hours: Array
    brief: np.ndarray

    @classmethod
    def nothing(cls, size: int) -> "Finding":
        """Return the finding of a rule that does not fire for any of so many classes."""
        no, zero = np.zeros(size, dtype=bool), np.zeros(size)
        return cls(no, zero, zero, zero.astype(int), zero, zero, no)


@dataclass(frozen=True, slots=True, eq=False)
class Verdict:
    """What a scene keeps of a night that has been judged.

    urgency (2, cohort): by when a cohort must be under cover, and by when it would have to be if it
    did not bear a brief dip [unix s]; infinite for never. known, source (2, cohort): whether that
    rests on an hour that is known, and which of `sources` says so. judged (cohort,): every hour
    that counts is known. chances: of firings, (class,), added as they are asked for.

    It must not hold the scene. Objects in a reference cycle stay, with all their hours, until the
    garbage collector runs, and a daemon would need some MB more.
    """

    urgency: Array
    judged: np.ndarray
    known: np.ndarray
    source: np.ndarray
    sources: list[tuple[Firing, Finding]]
    chances: dict[Firing, Array] = field(default_factory=dict)

    @classmethod
    def unheard(cls, count: int) -> "Verdict":
        """Return the verdict on so many cohorts before any rule is heard."""
        return cls(
            urgency=np.full((2, count), np.inf),
            judged=np.ones(count, dtype=bool),
            known=np.zeros((2, count), dtype=bool),
            source=np.zeros((2, count), dtype=np.int64),
            sources=[],
        )
