"""What is known of each plant: where it stands, when it was watered, and the order that is open.

`transitions` has everything that changes it. Here is how it is read at a moment.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from sillward_rules.chore import ChoreKind
from sillward_rules.physics import cold_harm
from sillward_rules.plants.care import NO_CARE, Care

GRACE = timedelta(minutes=45)
"""Once its deadline is over by this, an unconfirmed order is taken as followed where planning must
assume something. Judgement: two people need half an hour to carry forty plants."""

LONG_STAY = timedelta(days=7)
"""After this long under cover a plant has to get used to brighter light again. Judgement."""


@dataclass(frozen=True, slots=True)
class OpenOrder:
    """An order to carry a plant in that was told and is not confirmed yet.

    - before: its deadline, as it was told.
    - out_of, out_at: set only if the plant is to go out first, to from_spot, and come in again with
      this order: the spot that it leaves, and when it leaves.
    """

    from_spot: str
    to_spot: str
    before: datetime
    out_of: str | None = None
    out_at: datetime | None = None
    for_heat: bool = False
    """Whether it is a move out of the heat of a day. It then does not count as an order of the
    night, but the place of the plant is just as uncertain."""


@dataclass(frozen=True, slots=True)
class Ground:
    """A value beyond a limit that a chore was told for, as the grower knew it.

    - value: None where it was not known, and caution decided.
    - above: whether it is beyond its limit by being above it.
    - quantity: empty in a ledger from before it was kept.
    """

    value: float | None
    unit: str
    limit: float | None
    above: bool = False
    quantity: str = ""


@dataclass(frozen=True, slots=True)
class Declined:
    """A chore for a plant that the grower has said is not needed.

    - day: the local date of its round, with which its id begins.
    - before: its deadline.
    - at: when the grower said so.
    - grounds: what it was told for; worse than that, it is told anew.
    """

    kind: ChoreKind
    day: date
    from_spot: str
    to_spot: str
    before: datetime
    at: datetime
    grounds: tuple[Ground, ...] = ()


@dataclass(frozen=True, slots=True)
class ColdHistory:
    """What a plant has gone through in past nights; `cold_harm` says what that does.

    - night: the last night that is counted, as the local date of its evening.
    - carried: the dose that it carries into the night after that.
    - usual_low_c: the average low that it is used to [°C].
    """

    night: date
    carried: float
    usual_low_c: float

    def carried_into(self, night: date) -> float:
        """Return the dose that the plant carries into a night; those in between were mild."""
        since = max((night - self.night).days - 1, 0)
        return float(cold_harm.carried_dose(self.carried, 0.0, since))

    def after(self, night: date, dose: float, low_c: float) -> "ColdHistory":
        """Return the history once a night with this dose and low [°C] is over.

        Rounded, so that plants that went through the same stay alike.
        """
        carried = cold_harm.carried_dose(self.carried_into(night), dose)
        usual = cold_harm.usual_low_c(self.usual_low_c, low_c)
        return ColdHistory(night, round(float(carried), 2), round(float(usual), 1))


@dataclass(frozen=True, slots=True)
class PlantState:
    """Where a plant stands, since when, and when it was last watered.

    `assumed` means that nobody has acknowledged the move and the advice is taken as followed. This
    serves planning only: `asked` stays open until somebody confirms it, whatever is assumed
    meanwhile.
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
    asked: OpenOrder | None = None
    """The last order to carry it in, unless that was confirmed or called off."""
    cold: ColdHistory | None = None
    """The nights that it went through; None if nothing is known of them."""
    declined: tuple[Declined, ...] = ()
    """What the grower has said is not needed for it, of this day and the one before."""
    care: Care = NO_CARE
    """What it has been given lately, and what follows from that."""

    def at(self, now: datetime) -> "PlantState":
        """Return the state at a moment, without what lies ahead of it.

        Advice for a later hour has not been followed yet, and an order to carry in is taken as
        followed only once its deadline is over by `GRACE`.
        """
        wettings = (self.misted_at, self.fed_at, self.rinsed_at)
        if any(at is not None and at > now for at in wettings):
            misted_at, fed_at, rinsed_at = (
                None if at is None or at > now else at for at in wettings
            )
            past = replace(self, misted_at=misted_at, fed_at=fed_at, rinsed_at=rinsed_at)
            return past.at(now)
        if self.care.at(now) is not self.care:
            return replace(self, care=self.care.at(now)).at(now)
        if not self.assumed or self.came_from is None or self.since is None:
            return self
        if self.since + (GRACE if self._moves_by_order else timedelta(0)) <= now:
            return self
        return self._unmoved()

    def before_going_out(self, now: datetime) -> "PlantState":
        """Return the state as still inside, if the plant goes out only later and then in again.

        It can then be told to go out again. Otherwise return this state.
        """
        going = self.without_return(now)
        if going is self or going.came_from is None:
            return self
        return replace(self, spot=going.came_from, since=None, came_from=None)

    def without_return(self, now: datetime) -> "PlantState":
        """Return the state without the order to carry in, if the plant goes out only later.

        It is then out from that hour on, until another order comes. Otherwise return this state.
        """
        asked = self.asked
        if asked is None or asked.out_of is None or asked.out_at is None or now >= asked.out_at:
            return self
        if not (self.assumed and self._moves_by_order):
            return self
        return replace(
            self, spot=asked.from_spot, since=asked.out_at, came_from=asked.out_of, asked=None
        )

    def as_if_ignored(self) -> "PlantState":
        """Return the state as if the open order was not followed: the plant is where it was."""
        return self._unmoved() if self._moves_by_order else self

    @property
    def _moves_by_order(self) -> bool:
        """Whether the assumed move is the one of the open order."""
        asked, way = self.asked, (self.came_from, self.spot, self.since)
        return asked is not None and way == (asked.from_spot, asked.to_spot, asked.before)

    def _unmoved(self) -> "PlantState":
        assert self.came_from is not None
        return replace(self, spot=self.came_from, since=None, came_from=None)


State = Mapping[str, PlantState]
"""What is known of each plant, by name. A plant that is missing has no history."""
