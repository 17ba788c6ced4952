"""The desk of a replay: rounds and corrections as the daemon tells them, kept in memory.

It calls what the daemon calls, in the same order: `draw_up` and `next_state` for a round;
`draw_up_orders`, `revise`, `safe_outside`, `patch_chores` and `after_revision` for a newer
forecast; `answered` for what the grower did. Every message arrives at once, and there is one
channel.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from functools import cache

from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.pot_water import PotLook
from sillward_rules.plants.sightings import looked_at
from sillward_rules.plants.state import PlantState
from sillward_rules.revision import (
    CORRECTED,
    Revision,
    parted,
    revise,
    safe_outside,
    watched_spots,
)
from sillward_rules.sheet import Round, Sheet, draw_up, draw_up_orders
from sillward_rules.told_orders import (
    PatchedChore,
    RoundInForce,
    allowed_messages,
    chores_of,
    order_of,
    patch_chores,
    round_in_force,
    without_messages,
)
from sillward_rules.transitions import after_revision, answered, changed, next_state
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.spot import Spot


@dataclass(slots=True)
class Orders:
    """The chores of the last round that was told, and what became of them.

    - open: those still to do, by id; closed: the ids of the others.
    - done: kind and plant of what the grower has confirmed.
    - ignored: the ids of open ones whose hour passed while nobody was there.
    - messages: how many messages of the round there were.
    """

    open: dict[str, PatchedChore] = field(default_factory=dict)
    closed: set[str] = field(default_factory=set)
    done: set[tuple[ChoreKind, str]] = field(default_factory=set)
    ignored: set[str] = field(default_factory=set)
    messages: int = 0

    @classmethod
    def of(cls, chores: Sequence[Chore], messages: int) -> "Orders":
        """Return the orders of a round that has just been told."""
        return cls({chore.id: (chore, None) for chore in chores}, messages=messages)

    @property
    def chores(self) -> list[Chore]:
        """The chores that are still to do."""
        return [chore for chore, _ in self.open.values()]


@dataclass(frozen=True, slots=True)
class Correction:
    """What a newer forecast, or a thermometer, changed, and whether the grower was told of it.

    alarmed: the part of it that thermometers at the spots ask for, which is always told.
    """

    revision: Revision
    told: bool
    alarmed: tuple[Chore, ...] = ()


@dataclass(slots=True)
class Desk:
    """What has been told, and what is believed of the plants. See `engine.Plan` for the habits."""

    collection: Collection
    moved_by: timedelta
    max_messages: int
    states: dict[str, PlantState] = field(default_factory=dict)
    orders: Orders = field(default_factory=Orders)
    told: dict[Round, date] = field(default_factory=dict)
    """The date of the last round of each kind that was told."""

    def tell(self, round_: Round, day: date, weather: Weather, now: datetime) -> Sheet:
        """Tell a round."""
        sheet = draw_up(round_, self.collection, weather, self.states, now)
        self.states = next_state(self.states, sheet)
        self.orders = Orders.of(chores_of(sheet, day), int(has_content(sheet)))
        self.told[round_] = day
        return sheet

    def watch(self, spots: tuple[Spot, ...]) -> None:
        """Take what thermometers show: spots with or without the course of this night."""
        self.collection = self.collection.with_spots(spots)

    def compare(self, weather: Weather, now: datetime, *, newer: bool = True) -> Correction | None:
        """Compare the round in force with what is known now; None if nothing has changed.

        newer: whether there is a newer forecast. If not, only what thermometers ask for counts.
        """
        in_force = self._in_force(now)
        if in_force is None:
            return None
        orders = [order_of(chore) for chore in self.orders.chores if chore.kind in CORRECTED]
        goes_out = any(order.kind is ChoreKind.CARRY_OUT for order in orders)
        sheet = draw_up_orders(
            in_force.round, self.collection, weather, self.states, now, goes_out=goes_out
        )
        before, watched = self.states, watched_spots(self.collection.spots)
        revision = revise(
            orders,
            sheet,
            cache(lambda: safe_outside(self.collection, weather, before, now)),
            self.orders.done,
            self.moved_by,
            self.collection.habits.out_after,
            watched,
        )
        alarm, rest = parted(revision, watched)
        if not newer:
            rest = Revision()
        if not (alarm or rest):
            return None
        told = bool(rest) and self.orders.messages < allowed_messages(rest, self.max_messages)
        holds = rest if told else without_messages(rest)
        holds = replace(holds, added=(*alarm.added, *holds.added))
        if told:
            self.orders.messages += 1
        if holds:
            self._patch(holds, now)
            self.states = after_revision(self.states, sheet, holds)
        return Correction(holds, told, alarm.added)

    def confirm(self, chore: Chore, names: Sequence[str], now: datetime) -> None:
        """Take down that the grower has done a chore for these plants."""
        unknown = PlantState(chore.from_spot)
        old = {name: self.states.get(name) or unknown for name in names}
        to, before, of = chore.to_spot, chore.before, chore.what
        self.states |= changed(
            old, lambda state: answered(state, chore.kind, to, before, now, of=of)
        )
        if self.orders.open.pop(chore.id, None) is not None:
            self.orders.closed.add(chore.id)
            self.orders.done.update((chore.kind, name) for name in names)

    def look(self, look: PotLook) -> None:
        """Take down what the grower has found in every pot."""
        potted = [plant for plant in self.collection.plants if plant.pot is not None]
        old = {
            plant.name: self.states.get(plant.name) or PlantState(plant.home) for plant in potted
        }
        self.states |= changed(old, lambda state: looked_at(state, look))

    def _in_force(self, now: datetime) -> RoundInForce | None:
        def is_told(round_: Round, day: date) -> bool:
            return self.told.get(round_) == day

        def dusk_on(day: date) -> datetime:
            return self.collection.habits.told_at.on(self.collection.site, day)

        return round_in_force(self.collection.site, now, is_told, dusk_on)

    def _patch(self, revision: Revision, now: datetime) -> None:
        corrected = {
            chore_id: patch
            for chore_id, patch in self.orders.open.items()
            if patch[0].kind in CORRECTED
        }
        changed, called_off = patch_chores(corrected, self.orders.closed, revision, now)
        for chore_id in called_off:
            del self.orders.open[chore_id]
        self.orders.closed.update(called_off)
        self.orders.open |= {patch[0].id: patch for patch in changed}


def has_content(sheet: Sheet) -> bool:
    """Return whether a sheet has anything to say."""
    return bool(sheet.chores or sheet.warnings)
