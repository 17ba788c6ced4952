"""Cold nights are noted, asked about after 3, 7 and 14 days, and what they teach is proposed."""

from dataclasses import replace
from datetime import date, datetime, timedelta

import pytest

from sillward.ledger import Ledger
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.ledger.tables.readings import HandReading
from sillward.service import answers
from sillward.service.damage import no_damage
from sillward.service.damage_questions import (
    open_questions,
    questions,
    remember,
    with_damage_questions,
)
from sillward.service.damage_watch import LOOK_AFTER, is_worth_asking
from sillward_rules.inquest import ColdNight
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.remark import DamageAsked, LimitProposed
from sillward_rules.sheet import Round, Sheet
from sillward_rules.weather.night_summary import NightForecast
from sillward_rules.weather.sun import night_of
from tests.support.desks import DAY, SITE, World, a_household, a_world, local

COLLECTION: Collection = a_household().collection
NIGHT = DAY - timedelta(days=4)
"""It ended three days before this day."""


@pytest.fixture
def ledger() -> Ledger:
    return Ledger(":memory:")


def cold(
    ledger: Ledger, plant: str = "Left pot", night: date = NIGHT, low_c: float = 5.0
) -> HarmfulNight:
    made = HarmfulNight(plant, night, low_c, 1.0, False, True, 8.0, local("15:00", night))
    ledger.harmful_nights.note(SITE.name, [made])
    return made


def asked(ledger: Ledger, days: int = 0, hour: str = "08:30") -> list[DamageAsked]:
    return questions(ledger, COLLECTION, local(hour, DAY + timedelta(days=days)))


def a_sheet(round_: Round, at: datetime) -> Sheet:
    return Sheet(round_, at, SITE.name, "model", at, None, (), (), (), None, {})


def test_a_cold_night_is_asked_about_after_three_seven_and_fourteen_days(ledger: Ledger) -> None:
    cold(ledger)
    days = []
    for day in range(-3, 20):
        if asked(ledger, day):
            at = local("08:30", DAY + timedelta(days=day))
            sheet = with_damage_questions(a_sheet(Round.MORNING, at), COLLECTION, ledger)
            remember(sheet, COLLECTION, ledger, at)
            assert asked(ledger, day, "10:00") == asked(ledger, day)  # all that day
            days.append(day + 3)

    assert days == [3, 7, 14]


def test_a_question_that_was_missed_is_asked_later(ledger: Ledger) -> None:
    cold(ledger)

    assert asked(ledger, 2)
    assert asked(ledger, 13)
    assert not asked(ledger, 15)


def test_plants_of_one_night_are_asked_about_together_the_coldest_first(ledger: Ledger) -> None:
    cold(ledger, "Right pot", low_c=4.0)
    cold(ledger, "Left pot")
    cold(ledger, "Left pot", NIGHT - timedelta(days=1), low_c=6.0)
    cold(ledger, "Gone")

    assert asked(ledger) == [DamageAsked(("Right pot", "Left pot"), NIGHT, 4.0, False)]


def test_an_answer_ends_the_questions(ledger: Ledger) -> None:
    night = cold(ledger)
    ledger.harmful_nights.keep(SITE.name, replace(night, answered_at=local("09:00"), damaged=False))

    assert not asked(ledger)
    assert not asked(ledger, 4)


def test_a_look_before_two_weeks_answers_one_question_of_three(ledger: Ledger) -> None:
    cold(ledger)

    def look(days: int) -> None:
        at = local("18:00", DAY + timedelta(days=days))
        no_damage(ledger, SITE, COLLECTION.plants[0], (), at, None)

    look(0)
    assert [day for day in range(10) if asked(ledger, day)][:1] == [4]
    assert [night.plant for night in open_questions(ledger, COLLECTION, local("08:30"))] == []
    look(4)
    assert [day for day in range(14) if asked(ledger, day)][:1] == [11]
    look(11)
    assert not any(asked(ledger, day) for day in range(20))
    (night,) = ledger.harmful_nights.of_plant(SITE.name, "Left pot")
    assert night.damaged is False


def test_a_cold_spell_is_not_asked_about_every_day(ledger: Ledger) -> None:
    for back in range(3):
        cold(ledger, night=NIGHT + timedelta(days=back))
    days = []
    for day in range(20):
        if asked(ledger, day):
            at = local("08:30", DAY + timedelta(days=day))
            sheet = with_damage_questions(a_sheet(Round.MORNING, at), COLLECTION, ledger)
            remember(sheet, COLLECTION, ledger, at)
            days.append(day)

    assert days == [0, 4, 11]


def test_who_does_not_answer_is_asked_once_about_the_next_cold_spell(ledger: Ledger) -> None:
    for spell in range(2):
        cold(ledger, night=NIGHT + timedelta(days=20 * spell))
    days = []
    for day in range(40):
        if asked(ledger, day):
            at = local("08:30", DAY + timedelta(days=day))
            sheet = with_damage_questions(a_sheet(Round.MORNING, at), COLLECTION, ledger)
            remember(sheet, COLLECTION, ledger, at)
            days.append(day)

    assert days == [0, 4, 11, 31]


def test_only_the_morning_asks_and_only_the_week_proposes(ledger: Ledger) -> None:
    cold(ledger)
    for back in range(3):
        night = cold(ledger, "Right pot", NIGHT - timedelta(days=7 * back), low_c=7.0)
        ledger.harmful_nights.keep(
            SITE.name, replace(night, answered_at=local("09:00"), damaged=False, low_c=1.0)
        )
    at = local("08:30")

    def said(round_: Round) -> list[type]:
        sheet = with_damage_questions(a_sheet(round_, at), COLLECTION, ledger)
        return [type(remark) for remark in sheet.warnings]

    assert said(Round.MORNING) == [DamageAsked]
    assert said(Round.DUSK) == []
    assert said(Round.WEEK) == [LimitProposed]


def through_a_cold_night(low_c: float, *, out: bool = True) -> World:
    """A plant stands at the bench, as somebody has said; rounds are told; it is the day after."""
    world = a_world("16:00", low_c=low_c)
    _forecast_of_the_night_before(world)
    spot = "bench" if out else "room"
    answers.move(world.ledger, SITE.name, "Left pot", spot, world.clock())
    desk = world.desk
    desk.tick()
    sunrise = night_of(SITE, DAY).end
    for at in (local("17:05"), sunrise + timedelta(hours=1), sunrise + LOOK_AFTER * 1.1):
        world.clock.now = at
        if at > sunrise:
            # Nobody has carried anything, as somebody says who looked late in the evening.
            answers.move(world.ledger, SITE.name, "Left pot", spot, local("22:00"))
        desk.tick()
    return world


def _forecast_of_the_night_before(world: World) -> None:
    low_at = night_of(SITE, DAY - timedelta(days=1)).end - timedelta(minutes=18)
    before = NightForecast(DAY - timedelta(days=1), 10.0, 12.0, low_at, 2.0, 1.0, 0.0, 15.0)
    world.ledger.nights.keep(SITE.name, "Invented weather", low_at - timedelta(hours=10), [before])


def test_a_plant_that_stood_in_the_cold_is_noted() -> None:
    world = through_a_cold_night(3.0)

    (night,) = world.ledger.harmful_nights.of_plant(SITE.name, "Left pot")
    assert (night.night, night.limit_c, night.is_read) == (DAY, 8.0, False)
    assert night.low_c == pytest.approx(3.0, abs=1.0)
    assert night.answered_at is None


@pytest.mark.parametrize(("low_c", "out"), [(12.0, True), (3.0, False)])
def test_a_plant_that_was_warm_is_not(low_c: float, out: bool) -> None:
    world = through_a_cold_night(low_c, out=out)

    assert world.ledger.harmful_nights.of_plant(SITE.name, "Left pot") == []


@pytest.mark.parametrize("days_late", [0, 2])
def test_a_cold_night_that_nobody_expected_is_noted_where_nothing_was_moved(days_late: int) -> None:
    """What a thermometer has kept may be read and told a day later."""
    world = a_world("16:00", low_c=12.0)
    _forecast_of_the_night_before(world)
    desk, night = world.desk, night_of(SITE, DAY)
    desk.tick()
    world.clock.now = local("17:05")
    desk.tick()
    for late in range(days_late + 1):
        if late == days_late:
            reading = HandReading("bench", Quantity.TEMPERATURE, 3.0, night.end, DAY)
            world.ledger.readings.add_by_hand(SITE.name, reading, world.clock.now)
        world.clock.now = night.end + LOOK_AFTER * 1.1 + timedelta(days=late)
        desk.tick()

    (noted,) = world.ledger.harmful_nights.of_plant(SITE.name, "Left pot")
    assert (noted.night, noted.is_read, noted.is_known) == (DAY, True, True)


def test_a_cool_night_that_hardly_harms_is_not_asked_about(ledger: Ledger) -> None:
    """Twelve hours two degrees under comfort, four above injury, and a room that holds itself."""
    cool = ColdNight(DAY, "bench", True, 14.0, local("06:00"), 0.7, True, 16.0, 12.0, 1.0, 1.0)
    limits = Limits(Limit(16.0, "group"), brief_low=Limit(10.0, "group"))
    collection = replace(
        COLLECTION,
        plants=tuple(replace(plant, limits=limits) for plant in COLLECTION.plants),
    )
    plant = collection.plants[0]

    assert not is_worth_asking(ledger, collection, plant, cool)
    assert is_worth_asking(ledger, collection, plant, replace(cool, low_c=11.0))
    held = replace(cool, spot="room", low_c=9.0, is_read=False)
    assert not is_worth_asking(ledger, collection, plant, held)
    assert is_worth_asking(ledger, collection, plant, replace(held, is_read=True))
