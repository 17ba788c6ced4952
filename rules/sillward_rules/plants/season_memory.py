"""What season a plant is taken to be in, remembered from day to day.

Day length and the warmth of two weeks (`weather.season`) say anew each day what a plant would do.
Near a bound they say one thing this week and another the next, while a plant does not start and
stop so fast. So its season changes only once the days have pointed another way for ten days
running, by one step at a time (growing, slowing, rest), and by one step a week.

Where that leaves a doubt, each use takes its cautious side: see docs/decisions.md, "Season".
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, timedelta

from sillward_rules.weather.season import Season

DAYS_RUNNING = 10
"""The season changes once the days have pointed another way for so long [d]. Judgement: over real
years (`tests/rules/plants/test_season_memory.py`) that leaves hardly a change that is taken back
within three weeks, with five days two in five of them. A change that is real comes that much later,
which is why feed and night limits look at the day too. A margin in kelvins instead, by which a
change could count at once, was tried: forecasts cover four days to two weeks, and the mean of four
days swings by more kelvins than the seasons are apart."""

STEP_DAYS = 7
"""The season changes by no more than one step in so many days [d]. Judgement: a plant does not go
from rest to full growth overnight, and what grows freely is watered freely."""

WAKES = timedelta(days=28)
"""A plant that rested dry is given little water for so long, unless the grower sees a root sooner.
Judgement: new roots come two to four weeks after the first leaf, and until then it takes up little
and rots in what is left."""

FORGOTTEN_AFTER = timedelta(days=21)
"""What was remembered counts no more once no morning has been counted for longer. Judgement: three
weeks without a forecast may hide a change by a whole step."""

SEEN_HOLDS = timedelta(days=60)
"""Growth that the grower saw counts for so long against what the days say. Judgement: a new growth
or root takes about two months to harden."""

_STEPS = (Season.REST, Season.SLOWING, Season.GROWING)


@dataclass(frozen=True, slots=True)
class SeasonMemory:
    """The season of a plant.

    - since: the first day on which it was in it; came_from: the season before it, None where the
      memory begins, so that nothing is known of the days before.
    - counted: the last day that is counted.
    - other, other_since: whether the days since then have pointed towards growth (1) or rest (-1).
    - seen_until: up to this day what the grower saw counts for more than what the days say.
    - woke: when its last rest ended, for as long as that matters (`WAKES`).
    """

    season: Season
    since: date
    counted: date
    came_from: Season | None = None
    other: int = 0
    other_since: date | None = None
    seen_until: date | None = None
    woke: date | None = None

    @property
    def changed(self) -> bool:
        """Whether it changed on the last day that is counted."""
        return self.came_from is not None and self.since == self.counted

    def wakes(self, day: date) -> bool:
        """Return whether it has come out of its rest only lately, and no root was seen."""
        return self.woke is not None and day < self.woke + WAKES

    def is_seen(self, day: date) -> bool:
        """Return whether the grower's own eye counts on a day."""
        return self.seen_until is not None and day <= self.seen_until

    def after(self, day: date, points_to: Season) -> "SeasonMemory":
        """Return it with a day counted.

        points_to: the season by the day length and warmth of that day alone.
        """
        if day <= self.counted:
            return self
        if day - self.counted > FORGOTTEN_AFTER and not self.is_seen(day):
            return SeasonMemory(points_to, day, day)
        place, to = _STEPS.index(self.season), _STEPS.index(points_to)
        other = (to > place) - (to < place)
        kept = replace(
            self,
            counted=day,
            seen_until=self.seen_until if self.is_seen(day) else None,
            woke=self.woke if self.wakes(day) else None,
        )
        if other == 0 or kept.seen_until is not None:
            return replace(kept, other=0, other_since=None)
        since = self.other_since if other == self.other and self.other_since else day
        kept = replace(kept, other=other, other_since=since)
        if min((day - since).days + 1 - DAYS_RUNNING, (day - self.since).days - STEP_DAYS) < 0:
            return kept
        woke = day if self.season is Season.REST else None if other < 0 else kept.woke
        return replace(
            kept, season=_STEPS[place + other], since=day, came_from=self.season, woke=woke
        )


def seen_growing(
    memory: SeasonMemory | None, day: date, season: Season, today: date
) -> SeasonMemory | None:
    """Return what is remembered once the grower has seen a plant grow on a day.

    season: what it is in by that; in full growth it is no more given little water (`woke`). It
    never becomes a season nearer to rest than the one remembered. What was seen more than
    `SEEN_HOLDS` ago changes nothing.
    """
    until = day + SEEN_HOLDS
    if until < today:
        return memory
    if memory is None:
        return SeasonMemory(season, day, day, seen_until=until)
    woke = memory.woke if season is not Season.GROWING else None
    if _STEPS.index(memory.season) >= _STEPS.index(season):
        return replace(memory, seen_until=until, woke=woke)
    if memory.season is Season.REST and season is not Season.GROWING:
        woke = day
    return SeasonMemory(season, day, memory.counted, memory.season, seen_until=until, woke=woke)


def not_seen_growing(
    memory: SeasonMemory | None, day: date, others: Iterable[date]
) -> SeasonMemory | None:
    """Return what is remembered once it turns out that the plant was not seen to grow on a day.

    others: the days on which it was. If that day alone has ended its rest, it rests again.
    """
    if memory is None or memory.seen_until != day + SEEN_HOLDS:
        return memory  # it was told long after, or something seen later counts
    left = (other + SEEN_HOLDS for other in others)
    until = max((one for one in left if one >= memory.counted), default=None)
    if until is not None or memory.since != day:
        return replace(memory, seen_until=until)
    if memory.came_from is None:
        return None
    return SeasonMemory(memory.came_from, day, memory.counted)


def more_restful(one: Season, other: Season) -> Season:
    """Return the one of two seasons that is nearer to rest."""
    return min(one, other, key=_STEPS.index)
