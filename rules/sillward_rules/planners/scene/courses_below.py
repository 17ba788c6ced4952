"""Where the courses that a night may take are below a bound, for many courses at once.

A course is that of a member of the forecast, shifted by some standard deviations of the error that
the members do not show: by its *score*. The shift is the same all through the night. So at a moment
just those courses are below a bound whose score is lower than one, and what adds up over a night is
added up once for the moments of every score, and then from score to score.
"""

import math

import numpy as np

from sillward_rules.arrays import Array

_MANY = 1_000_000
"""So many numbers are worked on at a time, to bound the memory."""


class CoursesBelow:
    """The moments at which each course is below the bound of each class of plants.

    Results are (class, course); the courses of one member after those of the other, by score.
    """

    def __init__(self, gap_k: Array, error_k: Array, scores: Array) -> None:
        """Sort the moments by the scores of the courses that are below the bound then.

        gap_k (class, member, moment) : how far each member itself is below the bound [K]. error_k
        (moment,) : standard deviation of the error [K]. scores (score,) : in rising order.
        """
        self._gap_k, self._error_k, self._scores = gap_k, error_k, scores
        self._shape = gap_k.shape[0], gap_k.shape[1] * scores.size
        below_until = np.where(gap_k > 0, np.inf, -np.inf)
        np.divide(gap_k, error_k, out=below_until, where=error_k > 0)
        count = np.searchsorted(scores, below_until)  # of the scores that are below then
        members = np.arange(gap_k.shape[0] * gap_k.shape[1]).reshape(*gap_k.shape[:2], 1)
        self._bins = (members * (scores.size + 1) + count).ravel()

    def sum(self, weights: Array) -> Array:
        """Return the sum of weights (class, member, moment) over the moments below the bound."""
        weights = np.broadcast_to(weights, self._gap_k.shape).ravel()
        bins = self._gap_k.shape[0] * self._gap_k.shape[1] * (self._scores.size + 1)
        of_count = np.bincount(self._bins, weights, bins).reshape(-1, self._scores.size + 1)
        # The lowest score is below its bound in all of them, the next where two are, and so on.
        return of_count[:, :0:-1].cumsum(axis=1)[:, ::-1].reshape(self._shape)

    def area(self, weights: Array) -> Array:
        """Return the sum of depth [K] times weights (class, member, moment), likewise."""
        scores = np.tile(self._scores, self._gap_k.shape[1])
        area = self.sum(self._gap_k * weights) - scores * self.sum(self._error_k * weights)
        return np.maximum(area, 0.0)

    def deepest(self, factor: Array, wanted: np.ndarray) -> Array:
        """Return the greatest depth times a factor (class, moment) [K], or zero.

        wanted (class, course) : for which courses; 0 for all others.
        """
        found = np.zeros(self._shape)
        classes, courses = np.nonzero(wanted)
        part = max(1, math.floor(_MANY / max(self._error_k.size, 1)))
        for start in range(0, classes.size, part):
            some, course = classes[start : start + part], courses[start : start + part]
            member, score = np.divmod(course, self._scores.size)
            depth = self._gap_k[some, member] - self._scores[score][:, None] * self._error_k
            found[some, course] = (np.maximum(depth, 0.0) * factor[some]).max(axis=1, initial=0.0)
        return found
