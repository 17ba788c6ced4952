"""What is known of each plant: where it stands, what it last got, and the order that is open."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

GRACE = timedelta(minutes=45)
"""So long after its deadline an order that nobody confirmed is taken as followed, where planning
must take it as something. Judgement: forty plants take two people half an hour to carry."""


@dataclass(frozen=True, slots=True)
class Asked:
    """An order to carry a plant in that was told, and that nobody has confirmed yet.

    before: its deadline, as it was told. out_of, out_at: where the plant is until it goes out to
    from_spot first, and from when on, if the same sheet says so; else None.
    """

    from_spot: str
    to_spot: str
    before: datetime
    out_of: str | None = None
    out_at: datetime | None = None
    for_heat: bool = False
    """Asked by the heat of a day: no order of the night, but as little known to be done."""


@dataclass(frozen=True, slots=True)
class PlantState:
    """Where a plant stands, since when, and what it last got.

    `assumed`: nobody has acknowledged it; the advice is taken as followed. That is for planning:
    `asked` is open until somebody confirms it, whatever is assumed meanwhile.
    """

    spot: str
    since: datetime | None = None
    assumed: bool = True
    misted_at: datetime | None = None
    fed_at: datetime | None = None
    rinsed_at: datetime | None = None
    came_from: str | None = None
    """Where it is still taken to stand before `since`, if the move is assumed."""
    brighter_since: datetime | None = None
    """When it came out into more light after a long stay in a dim shelter."""
    asked: Asked | None = None
    """The last order to carry it in, unless it was confirmed or called off."""

    def at(self, now: datetime) -> "PlantState":
        """The state at a moment: advice for a later hour has not been followed yet, and an order
        to carry in not before its deadline is over by `GRACE`."""
        wettings = (self.misted_at, self.fed_at, self.rinsed_at)
        if any(at is not None and at > now for at in wettings):
            misted_at, fed_at, rinsed_at = (
                None if at is None or at > now else at for at in wettings
            )
            past = replace(self, misted_at=misted_at, fed_at=fed_at, rinsed_at=rinsed_at)
            return past.at(now)
        if not self.assumed or self.came_from is None or self.since is None:
            return self
        if self.since + (GRACE if self._moves_by_order else timedelta(0)) <= now:
            return self
        return self._unmoved()

    def until_out(self, now: datetime) -> "PlantState":
        """The state at a moment before the plant goes out to where the order takes it in from: it
        is inside still, and may be told to go out again."""
        going = self.without_order(now)
        if going is self or going.came_from is None:
            return self
        return replace(self, spot=going.came_from, since=None, came_from=None)

    def without_order(self, now: datetime) -> "PlantState":
        """The state without the order, if the plant goes out only after this moment: then it is out
        until another order comes. Else this state."""
        asked = self.asked
        if asked is None or asked.out_of is None or asked.out_at is None or now >= asked.out_at:
            return self
        if not (self.assumed and self._moves_by_order):
            return self
        return replace(
            self, spot=asked.from_spot, since=asked.out_at, came_from=asked.out_of, asked=None
        )

    def as_if_ignored(self) -> "PlantState":
        """The state if the order that is open was not followed: the plant is where it was."""
        return self._unmoved() if self._moves_by_order else self

    @property
    def _moves_by_order(self) -> bool:
        """Whether the move that is assumed is the one that was asked for last."""
        asked, way = self.asked, (self.came_from, self.spot, self.since)
        return asked is not None and way == (asked.from_spot, asked.to_spot, asked.before)

    def _unmoved(self) -> "PlantState":
        assert self.came_from is not None
        return replace(self, spot=self.came_from, since=None, came_from=None)


State = Mapping[str, PlantState]
"""What is known of each plant, by name. A plant that is missing has no history."""
