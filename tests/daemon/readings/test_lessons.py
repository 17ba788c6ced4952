"""What readings in the ledger teach about the spots of a household."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sillward.ledger import Ledger
from sillward.readings.lessons import Lessons
from sillward.reports import why
from sillward.reports.coldest_hour import coldest_hour
from sillward.wording import full_sheet
from sillward_rules.explanation import explain_plant
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import Quantity, by_the_hour
from sillward_rules.remark import ThermometerMoved
from sillward_rules.sheet import Round
from sillward_rules.weather.learned_nights import LearnedNights
from sillward_rules.weather.night_error import BIAS_K
from sillward_rules.weather.spot_nights import spot_nights
from sillward_rules.weather.uncertainty import USUAL_ERROR_K
from tests.support.core import daily_curve, weather
from tests.support.desks import SITE, World, a_world, local
from tests.support.past_readings import past_nights, read, told

FIRST_GAIN = BIAS_K[0] ** 2 / (BIAS_K[0] ** 2 + USUAL_ERROR_K[0] ** 2)


@pytest.fixture
def world() -> World:
    return a_world("12:00")


def lessons_of(world: World) -> Lessons:
    context = world.desk.context
    return Lessons(world.ledger, context.forecasts)


def applied(world: World) -> Collection:
    return lessons_of(world).applied(world.household.collection, world.clock())


def learned(world: World, spot: str = "bench") -> LearnedNights | None:
    return applied(world).spot(spot).learned


def with_nights(world: World, *errors_k: float) -> list[date]:
    return past_nights(world.ledger, SITE, world.source.name, "bench", world.clock(), errors_k)


def test_without_readings_a_collection_stays_as_it_is(world: World) -> None:
    assert applied(world) is world.household.collection


def test_nights_that_were_colder_than_forecast_teach_that(world: World) -> None:
    with_nights(world, *[-1.5] * 20)

    found = learned(world)

    assert found is not None
    assert found.nights == 20
    assert found.total_k == pytest.approx(-1.5, abs=0.2)
    assert str(found) == (
        "learned from 20 nights: 1.5 K colder than the forecast, give or take 0.2 K"
    )
    assert applied(world).spot("room") is world.household.collection.spot("room")


def test_a_reading_without_a_forecast_teaches_nothing(world: World) -> None:
    read(world.ledger, SITE, "bench", local("12:00").date() - timedelta(days=1), 4.0)

    assert applied(world) is world.household.collection


@pytest.mark.parametrize(("hours_before_sunset", "teaches"), [(1.5, True), (-1.0, False), (25, 0)])
def test_what_was_told_is_the_forecast_before_the_night(
    world: World, hours_before_sunset: float, teaches: bool
) -> None:
    night = local("12:00").date() - timedelta(days=1)
    told(
        world.ledger,
        SITE,
        world.source.name,
        night,
        9.0,
        hours_before_sunset=hours_before_sunset,
    )
    read(world.ledger, SITE, "bench", night, 7.0)

    assert (learned(world) is not None) == bool(teaches)


def test_the_newest_forecast_before_the_night_counts(world: World) -> None:
    night = local("12:00").date() - timedelta(days=1)
    for hours, low in ((9.0, 3.0), (0.5, 9.0), (-3.0, 5.0)):
        told(world.ledger, SITE, world.source.name, night, low, hours_before_sunset=hours)
    read(world.ledger, SITE, "bench", night, 7.0)

    found = learned(world)

    assert found is not None
    assert found.usual.bias_k == pytest.approx(-2.0 * FIRST_GAIN, abs=0.2)


def test_what_the_grower_said_is_where_learning_starts(world: World) -> None:
    """On windy nights a quarter of a cold offset is left; that is expected already."""
    bench = replace(world.household.collection.spot("bench"), night_offset_k=-2.0)
    spots = (bench, world.household.collection.spot("room"))
    collection = replace(world.household.collection, spots=spots)
    night = local("12:00").date() - timedelta(days=1)
    told(world.ledger, SITE, world.source.name, night, 9.0, wind_m_s=200.0)
    read(world.ledger, SITE, "bench", night, 8.5)

    found = lessons_of(world).applied(collection, world.clock()).spot("bench").learned

    assert found is not None
    assert found.usual.bias_k == pytest.approx(0.0, abs=1e-9)
    assert found.total_k == pytest.approx(-0.5)


def test_a_corrected_reading_is_learned_anew(world: World) -> None:
    lessons, collection = lessons_of(world), world.household.collection
    night = local("12:00").date() - timedelta(days=1)
    told(world.ledger, SITE, world.source.name, night, 9.0)
    number = read(world.ledger, SITE, "bench", night, 6.0)

    levels = []
    for value in (None, 8.0):
        if value is not None:
            world.ledger.readings.correct_by_hand(SITE.name, number, value)
        found = lessons.applied(collection, world.clock()).spot("bench").learned
        assert found is not None
        levels.append(found.usual.bias_k)
    world.ledger.readings.delete_by_hand(SITE.name, number)

    assert levels == pytest.approx([-3.0 * FIRST_GAIN, -1.0 * FIRST_GAIN], abs=0.2)
    assert lessons.applied(collection, world.clock()) is collection


def test_it_is_worked_out_once_until_something_changes(world: World) -> None:
    with_nights(world, -1.0, -1.0)
    lessons, collection = lessons_of(world), world.household.collection

    first = lessons.applied(collection, world.clock())
    world.clock.move(minutes=10)
    assert lessons.applied(collection, world.clock()) is first
    other = replace(collection, habits=replace(collection.habits, caution=60.0))
    assert lessons.applied(other, world.clock()).habits.caution == 60.0


def test_a_step_is_asked_about_until_someone_answers(world: World) -> None:
    nights = with_nights(world, *[-1.0, -1.4] * 15, *[3.0, 3.4] * 6)
    lessons, collection = lessons_of(world), world.household.collection
    bench = lessons.applied(collection, world.clock()).spot("bench")

    assert bench.learned is not None
    assert bench.learned.asks
    assert bench.learned.since is not None
    assert abs(bench.learned.since - nights[30]) <= timedelta(days=1)
    assert bench.learned.bias_k(bench.learned.usual) < -0.8
    assert isinstance(bench.question, ThermometerMoved)
    assert bench.question.warmer_k == pytest.approx(4.4, abs=0.6)

    lessons.note_hangs_right(SITE, "bench", bench.learned.since, world.clock())
    after = lessons.applied(collection, world.clock()).spot("bench").learned

    assert after is not None
    assert not after.asks
    assert after.usual.bias_k > 2.0
    assert lessons.hangs_right(SITE, "bench") == [bench.learned.since]


def test_what_a_room_shows_tonight_counts_within_the_hour(world: World) -> None:
    """A sensor that sends every minute, in a room that cools fast."""
    world.clock.now = local("21:00")
    lessons, collection = lessons_of(world), world.household.collection
    night = local("12:00").date()
    for ago in range(12, 0, -1):
        told(world.ledger, SITE, world.source.name, night - timedelta(days=ago), 5.0)
        read(world.ledger, SITE, "room", night - timedelta(days=ago), 16.0)
    told(world.ledger, SITE, world.source.name, night, 5.0)
    held = []
    for minute, value in ((1, 16.0), (50, 9.0)):
        at = int(local("21:00").timestamp()) + 60 * minute
        hour = by_the_hour(np.array([at]), np.array([value]))
        world.ledger.readings.keep(SITE.name, "room", Quantity.TEMPERATURE, "door", hour)
        world.clock.now = local(f"21:{minute:02}")
        response = lessons.applied(collection, world.clock()).spot("room").response
        assert response is not None
        held.append(float(response.taken_to_hold(np.array(5.0), 16.0, None)))

    assert held[0] > 14.0
    assert held[1] <= 9.5


def test_what_was_read_long_ago_is_told_with_its_date_and_counts_for_less(world: World) -> None:
    with_nights(world, *[2.0] * 30)
    early = learned(world)
    world.clock.move(days=60)
    later = learned(world)

    assert early is not None
    assert later is not None
    assert "the last on" not in str(early)
    assert "learned from 30 nights, the last on 13 May: 2.0 K warmer" in str(later)
    assert later.sd_k > early.sd_k + 0.1
    climates = []
    for days in (1, 60, 120):
        last = early.last + timedelta(days=days)
        air = weather(local("00:00", last), daily_curve(6.0, 15.0, 48, warmest_utc=20))
        spots = applied(world).spots
        climates.append(spot_nights(SITE, spots, air).bias_k[1, 0])
    assert climates[0] == pytest.approx(climates[1])
    assert climates[0] > 1.5
    assert climates[2] == 0.0, "not in another season"


def test_a_year_of_readings_is_read_from_a_ledger_of_a_year(world: World) -> None:
    with_nights(world, *[-0.7] * 399)

    found = learned(world)

    assert found is not None
    assert found.nights == 399


def test_forecasts_for_another_place_teach_nothing(world: World) -> None:
    with_nights(world, *[-1.5] * 20)
    store = world.desk.context.forecasts
    store.note_place(SITE, world.clock())
    moved = replace(SITE, latitude=-31.0)
    store.note_place(moved, world.clock())
    collection = replace(world.household.collection, site=moved)

    assert Lessons(world.ledger, store).applied(collection, world.clock()) is collection


# -- in what the service tells


def dusk_text(world: World) -> str:
    context = world.desk.context
    context.updater.fetch_now()
    sheet = context.sheet(Round.DUSK, context.weather())
    return " ".join(full_sheet.text(sheet, context.voice, "credit").split())


def test_plants_go_in_for_what_was_learned_and_the_sheet_says_so() -> None:
    """The forecast gives 9 °C, the limit is 8 °C, and the bench has been 2 K colder for weeks."""
    world = a_world("16:50", low_c=9.0)
    before = dusk_text(world)
    with_nights(world, *[-2.0] * 30)
    after = dusk_text(world)

    assert "Left pot" not in before.split("Forecast:")[0]
    assert "Left pot" in after.split("Forecast:")[0]
    assert "Readings: bench, learned from 30 nights: 2.0 °C colder than the forecast" in after
    assert "Readings:" not in before


def test_a_damaged_archive_costs_no_round(world: World, monkeypatch: pytest.MonkeyPatch) -> None:
    with_nights(world, -1.0)

    def fail(*_: object) -> None:
        raise RuntimeError

    monkeypatch.setattr(type(world.ledger.nights), "before", fail)

    assert world.desk.context.collection is world.household.collection


def test_the_ledger_is_an_argument() -> None:
    """A ledger in memory, as a command has it at a pretended time, teaches nothing."""
    world = a_world("12:00")
    lessons = Lessons(Ledger(":memory:"), world.desk.context.forecasts)

    assert lessons.applied(world.household.collection, world.clock()) is world.household.collection


@pytest.mark.parametrize(
    ("said_k", "words"),
    [
        (0.0, "-2 °C learned from readings makes 7.1 °C here"),
        (-1.0, "-1 °C and -1 °C learned from readings make 7.1 °C here"),
    ],
)
def test_why_tells_apart_what_was_said_and_what_was_learned(said_k: float, words: str) -> None:
    world = a_world("16:50", low_c=9.0)
    bench = replace(world.household.collection.spot("bench"), night_offset_k=said_k)
    spots = (bench, world.household.collection.spot("room"))
    collection = replace(world.household.collection, spots=spots)
    world.household = replace(world.household, collection=collection)
    with_nights(world, *[-2.0] * 40)
    context = world.desk.context
    context.updater.fetch_now()

    explanation = explain_plant(
        collection.plants[0], applied(world), context.weather(), {}, world.clock()
    )

    (line,) = coldest_hour(explanation, context.voice)
    assert words in line


def test_why_tells_what_readings_say_of_the_shelter(world: World) -> None:
    night = local("12:00").date()
    for ago in range(12, 0, -1):
        told(world.ledger, SITE, world.source.name, night - timedelta(days=ago), 5.0 + ago % 4)
        read(world.ledger, SITE, "room", night - timedelta(days=ago), 11.0)
    context, plants = world.desk.context, world.household.collection.plants
    context.updater.fetch_now()

    explanation = explain_plant(plants[0], applied(world), context.weather(), {}, world.clock())

    text = " ".join(why.text(explanation, [], context.voice).split())
    assert "shelter room: you said 16 °C, but 12 nights show 11.1 °C whatever the weather" in text
