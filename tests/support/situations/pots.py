"""Situations with plants in pots: of which nothing is known, that are dry, that were looked at."""

from datetime import date, timedelta

from sillward.service import looks
from sillward.service.answers import confirm
from sillward.text.units import SI, Units
from tests.support.collection_files import FEED, Pot, garden
from tests.support.invented_weather import Sky
from tests.support.situations.morning import AT_SEVEN, HOT, SUMMER
from tests.support.situations.situation import US, Told, of_round, situation
from tests.support.staged_day import StagedDay, staged_day

POTTED = (
    Pot("Old cattleya", "cattleya", holder="basket"),
    Pot(
        "Clay-pot lime", "citrus tender", "wall bench", "back hall",
        more='pot = { litres = 12, medium = "peat" }\nspan = 70',
    ),
    Pot(
        "Courtyard hibiscus", "hibiscus", "wall bench",
        more='pot = { litres = 5, medium = "peat" }',
    ),
    Pot(
        "Paper vine", "bougainvillea", "wall bench", "back hall",
        more='pot = { litres = 20, medium = "bark", dark = true }\nspan = 90',
    ),
    Pot("Kitchen-door aloes", "aloe", "pergola", more='pot = { litres = 2, medium = "mineral" }'),
)  # fmt: skip

WET = ("Clay-pot lime", "Courtyard hibiscus", "Paper vine", "Kitchen-door aloes")


def staged(units: Units, at: str = AT_SEVEN, sky: Sky = HOT, day: date = SUMMER) -> StagedDay:
    return staged_day(garden(POTTED, FEED), at, sky, units=units, day=day)


def looked(played: StagedDay, word: str, *names: str, hours_ago: float = 1) -> StagedDay:
    """Let the grower have said how wet some pots are."""
    of, now = played.household.collection, played.clock.now
    for name in names:
        looks.look(played.ledger, of, name, word, now - timedelta(hours=hours_ago), now)
    return played


def a_day_after(units: Units) -> StagedDay:
    """The evening before most were moist, and one wet."""
    played = looked(staged(units), "moist", *WET[:2], hours_ago=14)
    return looked(played, "wet", *WET[2:], hours_ago=14)


@situation("push-morning", imperial=True, full_in=(SI,))
def pots_of_which_nothing_is_known(units: Units) -> Told:
    """A hot day; four plants stand in pots, and nobody has ever said how wet these are."""
    played = staged(units)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning", imperial=True, full_in=(SI, US))
def pots_on_a_hot_day(units: Units) -> Told:
    """The evening before most were moist, one wet; one was found dry this morning."""
    played = a_day_after(units)
    looked(played, "dry", "Kitchen-door aloes", hours_ago=0)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning", full_in=(SI,))
def pots_the_day_after_nobody_answered(units: Units) -> Told:
    """What was told to be watered a day ago, and may have been."""
    played = a_day_after(units)
    played.desk.tick()
    played.sleep(AT_SEVEN, 1)
    return of_round(played, "morning", 1)


@situation("push-morning")
def pots_the_day_after_they_were_watered(units: Units) -> Told:
    """What was told to be watered a day ago was."""
    played = a_day_after(units)
    played.desk.tick()
    played.clock.move(minutes=60)
    chosen = [(one, one.plants) for one in played.chores() if one.kind.value == "water"]
    confirm(played.ledger, played.household.collection.site.name, chosen, played.clock.now)
    played.sleep(AT_SEVEN, 1)
    return of_round(played, "morning", 1)


@situation("push-week", full_in=(SI,))
def a_week_of_pots(units: Units) -> Told:
    """A hot week; the pots were wet on its eve."""
    played = looked(staged(units, "18:20", day=date(2026, 1, 18)), "wet", *WET, hours_ago=10)
    played.desk.tick()
    return of_round(played, "week")
