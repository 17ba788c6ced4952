"""The sheet together with the voice that words it, and the phrases that all lines share."""

from collections.abc import Iterable, Sequence
from datetime import datetime

from sillward.wording.voice import Voice, capital
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.sheet import Sheet

MAX_HEADS = 2
"""Chores that a title speaks of. Judgement: more are not taken in at a glance."""


class SheetWriter:
    """Words the lines of one sheet: the sheet, its voice, and what its lines have in common."""

    def __init__(self, sheet: Sheet, voice: Voice) -> None:
        self.sheet = sheet
        self.voice = voice
        self.say = voice.say

    def chores(self, *kinds: ChoreKind) -> list[Chore]:
        """Return the chores of some kinds, in the order of the sheet."""
        return [chore for chore in self.sheet.chores if chore.kind in kinds]

    def clock(self, at: datetime) -> str:
        """Return a time as it is said at the hour of the sheet: "17:10", "tomorrow 10:35"."""
        return self.voice.clock(at, self.sheet.at)

    def by(self, chore: Chore) -> str:
        """Return the deadline of a chore: "by 17:10", or "now"."""
        return self.voice.by(chore.before, self.sheet.at)

    def plants_at(self, spot: str) -> set[str]:
        """Return the plants that stand at a spot now."""
        return {name for name, state in self.sheet.states.items() if state.spot == spot}

    def names(self, chore: Chore, most: int) -> str:
        """Return the plants of a chore: `most` of their names, or "all 6" where few stay behind."""
        # A shelter also houses plants that live there: only outdoors does "all" mean something.
        indoors = chore.kind in (ChoreKind.CARRY_OUT, ChoreKind.STAY_IN)
        others = None if indoors else self.plants_at(chore.from_spot) - set(chore.plants)
        return self.voice.names(chore.plants, most, others)


def start_of(chore: Chore) -> datetime:
    """Return when a chore may begin, or its deadline if it may begin at any time."""
    return chore.not_before or chore.before


def told_hours(chores: Iterable[Chore], now: datetime) -> tuple[datetime, ...]:
    """Return for each chore the hour that its line tells: its start, or now if that is past."""
    return tuple(max(start_of(chore), now) for chore in chores)


def title_of(heads: Sequence[str]) -> str:
    """Return a title of the first heads, empty if there are none."""
    return capital(", ".join(heads[:MAX_HEADS]))
