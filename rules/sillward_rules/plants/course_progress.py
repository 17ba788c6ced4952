"""How far a course has come for a plant: what was given, when its leaves were looked at."""

from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

KEPT = timedelta(days=35)
"""Single mistings of a course are kept this long, and counted after that. Judgement: the longest
span in which they are counted, and a week."""


LEAF_WORDS = ("better", "same", "worse")
"""What a grower says of leaves while a course runs, beside how they were two weeks before."""


@dataclass(frozen=True, slots=True)
class Dose:
    """One misting of a course.

    - at: when it was given; the deadline of its chore while that is only assumed.
    - confirmed: whether the grower has said so.
    - due: the deadline of the chore that asked for it; None if none did.
    """

    at: datetime
    confirmed: bool = False
    due: datetime | None = None


@dataclass(frozen=True, slots=True)
class CourseProgress:
    """What is known of a course for one plant.

    - began: the day on which it was first planned for.
    - doses: its mistings of the last weeks, in order; earlier: how many there were before.
    - looked_at: when somebody last said how the leaves are.
    - ended_at: when the grower said that it is over.
    """

    name: str
    began: date | None = None
    doses: tuple[Dose, ...] = ()
    earlier: int = 0
    looked_at: datetime | None = None
    ended_at: datetime | None = None

    @property
    def total(self) -> int:
        """How many mistings there were, told ones included."""
        return self.earlier + len(self.doses)

    def since(self, start: datetime) -> tuple[Dose, ...]:
        """Return the mistings after a moment."""
        return tuple(dose for dose in self.doses if dose.at > start)

    def was_heard_of_since(self, start: datetime) -> bool:
        """Return whether anything was given or said of it after a moment."""
        times = (self.looked_at, self.ended_at, *(dose.at for dose in self.doses[-1:]))
        return any(at is not None and at > start for at in times)

    def at(self, now: datetime) -> "CourseProgress":
        """Return it as of a moment, without what lies ahead."""
        if all(dose.at <= now for dose in self.doses):
            return self
        return replace(self, doses=tuple(dose for dose in self.doses if dose.at <= now))

    def given(self, dose: Dose) -> "CourseProgress":
        """Return it with one more misting, in place of what was assumed of the same chore."""
        others = [
            one
            for one in self.doses
            if one != dose and (one.confirmed or one.due is None or one.due != dose.due)
        ]
        recent = tuple(one for one in others if one.at > dose.at - KEPT)
        doses = tuple(sorted((*recent, dose), key=lambda one: one.at))
        return replace(self, doses=doses, earlier=self.earlier + len(others) - len(recent))

    def not_given(self, due: datetime) -> "CourseProgress":
        """Return it without what was assumed of a chore with this deadline."""
        left = tuple(one for one in self.doses if one.confirmed or one.due != due)
        return self if left == self.doses else replace(self, doses=left)
