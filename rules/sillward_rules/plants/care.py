"""Care: what a plant has been given lately, and what follows from that over weeks.

It is part of a plant's state. `transitions` writes down each watering, told or confirmed; the
morning round brings what follows from them up to date (`planners.past_day`).
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from sillward_rules.chore import ChoreKind
from sillward_rules.plants.course_progress import CourseProgress, Dose
from sillward_rules.plants.pot_water import PotLook, PotWater
from sillward_rules.plants.salt_balance import Repotting, SaltBalance
from sillward_rules.plants.season_memory import SeasonMemory

KEPT = timedelta(days=3)
"""Single waterings are kept this long; what they did is in the balances by then. Judgement: a
morning round may be missed, and a watering may be entered a day late."""

ALL_KNOWN = KEPT - timedelta(hours=16)
"""So far back all waterings are known one by one: the latest may lie ahead, by a day at most, and
those before it are kept for so long."""


@dataclass(frozen=True, slots=True)
class Wetting:
    """One misting, feed, rinse or watering of a plant.

    - at: when it was done; the deadline of its chore while that is only assumed.
    - confirmed: whether the grower has said so. Otherwise it was told, and no more is known.
    - due: the deadline of the chore that asked for it; None if none did.
    - of: the name of the feed or course; empty for plain water and for the only feed.
    """

    kind: ChoreKind
    at: datetime
    confirmed: bool = False
    due: datetime | None = None
    of: str = ""


@dataclass(frozen=True, slots=True)
class Care:
    """What is known of the care of a plant.

    - wettings: the single waterings of the last days, in order.
    - season: the season that it is in; None until a morning has been counted.
    - courses: how far its courses have come, by name.
    - water: the water of its pot when a morning last counted it; None if nothing is known.
    - looks: what was said of its pot since then.
    - salt: the salts that stay with its roots; None if nothing is known, or they are not counted.
    - repotting: the last one, as long as its note may be deleted.
    """

    wettings: tuple[Wetting, ...] = ()
    season: SeasonMemory | None = None
    courses: tuple[CourseProgress, ...] = ()
    water: PotWater | None = None
    looks: tuple[PotLook, ...] = ()
    salt: SaltBalance | None = None
    repotting: Repotting | None = None

    def at(self, now: datetime) -> "Care":
        """Return it as of a moment, without waterings and looks that lie ahead."""
        courses = tuple(course.at(now) for course in self.courses)
        wettings = tuple(one for one in self.wettings if one.at <= now)
        looks = tuple(look for look in self.looks if look.at <= now)
        if (courses, wettings, looks) == (self.courses, self.wettings, self.looks):
            return self
        return replace(self, wettings=wettings, courses=courses, looks=looks)

    def wetted(self, wetting: Wetting) -> "Care":
        """Return it with one more watering, in place of what was assumed of the same chore."""
        others = (one for one in self.wettings if not _is_same(one, wetting))
        recent = (one for one in others if one.at > wetting.at - KEPT)
        after = replace(self, wettings=_in_order([*recent, wetting]))
        if wetting.kind is not ChoreKind.COURSE:
            return after
        course = self.course(wetting.of) or CourseProgress(wetting.of)
        return after.with_course(course.given(Dose(wetting.at, wetting.confirmed, wetting.due)))

    def not_wetted(self, due: datetime) -> "Care":
        """Return it without what was assumed of chores with this deadline: it was not done."""
        left = tuple(one for one in self.wettings if one.confirmed or one.due != due)
        courses = tuple(course.not_given(due) for course in self.courses)
        if (left, courses) == (self.wettings, self.courses):
            return self
        return replace(self, wettings=left, courses=courses)

    def course(self, name: str) -> CourseProgress | None:
        """Return how far a course has come; None if nothing is known of it."""
        return next((course for course in self.courses if course.name == name), None)

    def with_course(self, course: CourseProgress) -> "Care":
        """Return it with what is known of one course by now."""
        others = (one for one in self.courses if one.name != course.name)
        return replace(self, courses=tuple(sorted((*others, course), key=lambda one: one.name)))

    def looked(self, look: PotLook) -> "Care":
        """Return it with one more look at its pot."""
        in_order = sorted([*self.looks, look], key=lambda one: (one.at, one.told_at, one.word))
        return replace(self, looks=tuple(in_order))

    def counted(self, water: PotWater) -> "Care":
        """Return it with the water of its pot as a morning has counted it."""
        left = tuple(one for one in self.looks if one.told_at > water.at)
        return replace(self, water=water, looks=left)

    def with_salt(self, salt: SaltBalance | None) -> "Care":
        """Return it with the salts as settled, without a repotting of long before."""
        kept = self.repotting
        if kept is not None and salt is not None and not kept.is_kept(salt.at):
            kept = None
        if (salt, kept) == (self.salt, self.repotting):
            return self
        return replace(self, salt=salt, repotting=kept)

    def is_repotted_since(self, other: "Care") -> bool:
        """Return whether it knows a later repotting, or that the same one was taken back."""
        mine, before = self.repotting, other.repotting
        if mine is None or before is None:
            return mine is not None
        return (mine.at, mine.void) > (before.at, before.void)

    def with_answers(self, known: "Care") -> "Care":
        """Return what was worked out earlier, with what the grower has said since.

        known: the care as it is known by now.
        """
        after = self
        for one in known.wettings:
            if one.confirmed and one not in after.wettings:
                after = after.wetted(one)
        for said in known.courses:  # only the grower ends a course, and only the grower looks
            course = after.course(said.name) or said
            after = after.with_course(
                replace(course, looked_at=said.looked_at, ended_at=said.ended_at)
            )
        for look in known.looks:
            if look not in after.looks and (after.water is None or look.told_at > after.water.at):
                after = after.looked(look)
        if known.with_salt(after.salt).is_repotted_since(after):
            after = replace(after, salt=known.salt, repotting=known.repotting)
        return replace(after, season=after.season_with_eye_of(known))

    def season_with_eye_of(self, known: "Care") -> SeasonMemory | None:
        """Return the season, or that of what is known by now if the grower saw growth since."""
        mine, other = self.season, known.season
        if other is None or mine is None or not other.is_seen(mine.counted):
            return mine or other
        return mine if mine.seen_until == other.seen_until else other


NO_CARE = Care()
"""Nothing is known."""


def _is_same(one: Wetting, other: Wetting) -> bool:
    return (
        not one.confirmed and one.due is not None and (one.kind, one.due) == (other.kind, other.due)
    )


def _in_order(wettings: Iterable[Wetting]) -> tuple[Wetting, ...]:
    return tuple(sorted(wettings, key=lambda one: (one.at, one.kind.value, one.of)))
