"""What a plant went through: where it stood in past nights, what was told, and what was read."""

from datetime import date, datetime, timedelta

import pytest

from sillward.ledger import Ledger
from sillward.ledger.tables.readings import HandReading
from sillward.service import answers
from sillward.service.plant_nights import NIGHTS, PlantNight, nights_of
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.state import PlantState
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.weather.sun import night_of
from tests.support.chores import a_chore
from tests.support.core import plant
from tests.support.desks import DAY, SITE, local

STRAP = plant()
YESTERDAY = DAY - timedelta(days=1)
NOW = local("17:00")


@pytest.fixture
def ledger() -> Ledger:
    return Ledger(":memory:")


def told(
    ledger: Ledger, day: date = YESTERDAY, kind: ChoreKind = ChoreKind.CARRY_IN, low_c: float = 4.0
) -> Chore:
    """Carrying in is told for 18:00."""
    name = f"{day}-{kind.value}-bench-room"
    chore = a_chore(name, local("18:00", day), kind, values=(low_c,), limit=13.0)
    at = local("17:00", day)
    ledger.keep_round(SITE.name, "dusk", day, at, notices=[], chores=[chore], states_now={})
    return chore


def done(ledger: Ledger, chore: Chore, at: datetime) -> None:
    (stored,) = [each for each in ledger.chores.due_since(SITE.name, at - timedelta(days=2))
                 if each.id == chore.id]  # fmt: skip
    answers.confirm(ledger, SITE.name, [(stored, ["Test strap"])], at)


def read(ledger: Ledger, spot: str, low_c: float, night: date = YESTERDAY) -> None:
    at = night_of(SITE, night).end
    reading = HandReading(spot, Quantity.TEMPERATURE, low_c, at, night)
    ledger.readings.add_by_hand(SITE.name, reading, at)


def nights(ledger: Ledger, state: PlantState | None = None) -> list[PlantNight]:
    return nights_of(ledger, SITE, STRAP, state, NOW)


def test_of_a_plant_of_which_nothing_is_known_there_is_nothing_to_say(ledger: Ledger) -> None:
    assert nights(ledger) == []


def test_a_plant_that_was_carried_in_is_judged_by_the_thermometer_inside(ledger: Ledger) -> None:
    done(ledger, told(ledger), local("17:50", YESTERDAY))
    read(ledger, "bench", 3.5)
    read(ledger, "room", 14.2)

    (night,) = nights(ledger)
    assert (night.day, night.spots, night.is_known) == (YESTERDAY, ("room",), True)
    assert (night.told_c, night.limit_c, night.read_c) == (4.0, 13.0, 14.2)
    assert not night.is_under
    assert [order.done_at is not None for order in night.orders] == [True]


def test_an_order_that_nobody_confirmed_leaves_both_places_and_the_colder_counts(
    ledger: Ledger,
) -> None:
    told(ledger)
    read(ledger, "bench", 3.5)
    read(ledger, "room", 14.2)

    (night,) = nights(ledger)
    assert night.spots == ("room", "bench")
    assert night.read_c == 3.5
    assert night.is_under


def test_a_plant_that_was_left_out_stood_where_it_was(ledger: Ledger) -> None:
    answers.move(ledger, SITE.name, "Test strap", "wall", local("09:00", YESTERDAY))
    chore = told(ledger)
    (stored,) = ledger.chores.of_day(SITE.name, YESTERDAY)
    answers.decline(ledger, SITE.name, [(stored, list(chore.plants))], local("17:30", YESTERDAY))
    read(ledger, "wall", 9.0)

    (night,) = nights(ledger)
    assert night.spots == ("wall",)
    assert night.is_under


def test_a_move_that_was_noted_counts_from_its_night_on(ledger: Ledger) -> None:
    answers.move(ledger, SITE.name, "Test strap", "room", local("20:00", YESTERDAY))
    for back in (1, 2):
        read(ledger, "room", 14.0, DAY - timedelta(days=back))
        read(ledger, "bench", 2.0, DAY - timedelta(days=back))

    last, before = nights(ledger)
    assert (last.spots, last.is_known, last.read_c) == (("room",), True, 14.0)
    assert (before.spots, before.is_known, before.read_c) == (("bench",), False, 2.0)


def test_a_place_that_is_only_assumed_is_not_taken_for_known(ledger: Ledger) -> None:
    read(ledger, "bench", 2.0)
    assumed = PlantState("room", local("18:00", YESTERDAY), assumed=True, came_from="bench")

    (night,) = nights(ledger, assumed)
    assert (night.spots, night.is_known) == (("bench",), False)


def test_what_is_told_of_the_day_is_not_told_of_the_night(ledger: Ledger) -> None:
    told(ledger, kind=ChoreKind.MIST)
    assert nights(ledger) == []


def test_a_value_above_a_limit_is_no_expected_low(ledger: Ledger) -> None:
    chore = a_chore(
        f"{YESTERDAY}-carry-in-bench-room", local("18:00", YESTERDAY), quantity="gust", values=(20,)
    )
    ledger.keep_round(
        SITE.name, "dusk", YESTERDAY, local("17:00", YESTERDAY), notices=[], chores=[chore],
        states_now={},
    )  # fmt: skip

    (night,) = nights(ledger)
    assert (night.told_c, night.limit_c) == (None, 13.0)


def test_the_night_that_goes_on_is_not_past_yet(ledger: Ledger) -> None:
    told(ledger, DAY)
    read(ledger, "bench", 2.0, DAY)
    assert nights(ledger) == []


def test_it_is_two_weeks_the_last_night_first(ledger: Ledger) -> None:
    for back in range(1, 20):
        read(ledger, "bench", float(back), DAY - timedelta(days=back))

    found = nights(ledger)
    assert [night.read_c for night in found] == [float(back) for back in range(1, NIGHTS + 1)]
