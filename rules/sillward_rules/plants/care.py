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
from sillward_rules.plants.salt_balance import FLUSH_PAUSE, Repotting, SaltBalance
from sillward_rules.plants.season_memory import SeasonMemory

KEPT = timedelta(days=3)
"""Single waterings are kept this long; what they did is in the balances by then. Judgement: a
morning round may be missed, and a watering may be entered a day late."""

SAME_HOUR = timedelta(hours=12)
"""What comes once a week may come this much sooner, so that a week later at an earlier hour
counts."""

ALL_KNOWN = KEPT - timedelta(hours=16)
"""So far back all waterings are known one by one: the latest may lie ahead, by a day at most, and
those before it are kept for so long."""

FILLS = frozenset({ChoreKind.WATER, ChoreKind.LEACH})
"""Waterings that go on until water runs through a pot."""


@dataclass(frozen=True, slots=True)
class Wetting:
    """One misting, feed, rinse or watering of a plant.

    - at: when it was done; the deadline of its chore while that is only assumed.
    - confirmed: whether the grower has said so. Otherwise it was told, and no more is known.
    - due: the deadline of the chore that asked for it; None if none did.
    - of: the name of the feed or course; empty for plain water and for the only feed.
    - said_at: when the grower said so, if that was later than `at`.
    """

    kind: ChoreKind
    at: datetime
    confirmed: bool = False
    due: datetime | None = None
    of: str = ""
    said_at: datetime | None = None

    @property
    def known_at(self) -> datetime:
        """When it was known: what was worked out earlier knows nothing of it."""
        return self.at if self.said_at is None else self.said_at

    @property
    def fills(self) -> bool:
        """Whether it is known to have filled a pot."""
        return self.confirmed and self.kind in FILLS

    def is_of_same_chore(self, other: "Wetting") -> bool:
        """Return whether one chore asked for both."""
        mine, its = (self.kind, self.due, self.of), (other.kind, other.due, other.of)
        return self.due is not None and mine == its


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
    - flush_told: when a flush was last told, which is kept as long as it is not told again.
    """

    wettings: tuple[Wetting, ...] = ()
    season: SeasonMemory | None = None
    courses: tuple[CourseProgress, ...] = ()
    water: PotWater | None = None
    looks: tuple[PotLook, ...] = ()
    salt: SaltBalance | None = None
    repotting: Repotting | None = None
    flush_told: datetime | None = None

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
        others = (
            one for one in self.wettings if one.confirmed or not one.is_of_same_chore(wetting)
        )
        recent = (one for one in others if one.known_at > wetting.at - _kept(one.kind))
        after = replace(self, wettings=in_order([*recent, wetting]))
        if wetting.kind is ChoreKind.LEACH and not wetting.confirmed:
            after = after.told_to_flush(wetting.at)
        course = self.course(wetting.of) if wetting.of else None
        if wetting.kind is ChoreKind.COURSE:
            course = course or CourseProgress(wetting.of)
        elif wetting.kind is not ChoreKind.WATER or not wetting.confirmed:
            return after
        if course is None:
            return after
        return after.with_course(course.given(Dose(wetting.at, wetting.confirmed, wetting.due)))

    def told_to_flush(self, at: datetime | None) -> "Care":
        """Return it with a flush that was told, unless a later one was."""
        if at is None or (self.flush_told is not None and at <= self.flush_told):
            return self
        return replace(self, flush_told=at)

    def is_flushed(self, now: datetime, *, counts_told: bool) -> bool:
        """Return whether it was flushed so lately that it need not be again.

        counts_told: whether one that was told counts, although nobody has confirmed it.
        """
        since = now - FLUSH_PAUSE + SAME_HOUR
        done = (one.at for one in self.wettings if one.confirmed and one.kind is ChoreKind.LEACH)
        told = self.flush_told if counts_told else None
        return any(at > since for at in done) or (told is not None and told > since)

    def not_wetted(self, kind: ChoreKind, due: datetime) -> "Care":
        """Return it without what was assumed of a chore with this deadline: it was not done."""
        left = tuple(
            one for one in self.wettings if one.confirmed or (one.kind, one.due) != (kind, due)
        )
        if left == self.wettings:
            return self
        courses = self.courses
        if kind is ChoreKind.COURSE:
            courses = tuple(course.not_given(due) for course in courses)
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
        kept, told = self.repotting, self.flush_told
        if kept is not None and salt is not None and not kept.is_kept(salt.at):
            kept = None
        if told is not None and salt is not None and told < salt.at - FLUSH_PAUSE:
            told = None
        if (salt, kept, told) == (self.salt, self.repotting, self.flush_told):
            return self
        return replace(self, salt=salt, repotting=kept, flush_told=told)

    def is_repotted_since(self, other: "Care") -> bool:
        """Return whether it knows a later repotting, or that the same one was taken back."""
        mine, before = self.repotting, other.repotting
        if mine is None or before is None:
            return mine is not None
        return (mine.at, mine.void) > (before.at, before.void)


NO_CARE = Care()
"""Nothing is known."""


def _kept(kind: ChoreKind) -> timedelta:
    """Return how long waterings of a kind are kept: flushes until one may be told again."""
    return FLUSH_PAUSE + KEPT if kind is ChoreKind.LEACH else KEPT


def in_order(wettings: Iterable[Wetting]) -> tuple[Wetting, ...]:
    """Return waterings in the order in which they were done."""
    return tuple(sorted(wettings, key=lambda one: (one.at, one.kind.value, one.of)))
