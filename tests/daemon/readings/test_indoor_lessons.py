"""What readings teach of indoor spots, from the ledger to what a grower is told."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest

from sillward.readings.lessons import Lessons
from sillward.reports import check, why
from sillward.reports.learned import learned_document
from sillward.text.units import Units
from sillward.wording import full_sheet
from sillward.wording.voice import Voice
from sillward_rules.explanation import explain_plant
from sillward_rules.plants.collection import Collection
from sillward_rules.readings.hourly_readings import by_the_hour
from sillward_rules.readings.indoors import ENOUGH_DAYS
from sillward_rules.sheet import Round
from sillward_rules.weather import sun
from sillward_rules.weather.indoor_response import Form, IndoorResponse
from sillward_rules.weather.spot import Spot
from tests.support.desks import DAY, ROOM, SITE, World, a_world, local
from tests.support.past_readings import AIR, read, told

US = Units("°F", "12 h", "mph")


@pytest.fixture
def world() -> World:
    return a_world("12:00", low_c=3.0)


def taught(world: World, collection: Collection | None = None) -> Spot:
    lessons = Lessons(world.ledger, world.desk.context.forecasts)
    return lessons.applied(collection or world.household.collection, world.clock()).spot("room")


def response(world: World, collection: Collection | None = None) -> IndoorResponse:
    found = taught(world, collection).response
    assert found is not None
    return found


def with_nights(
    world: World, *lows: tuple[float, float | None], until: date | None = None
) -> list[date]:
    """Write the last nights before the present one: the low told for outdoors, and that indoors."""
    last = until or sun.night_at_or_after(SITE, world.clock()).day
    nights = [last - timedelta(days=days) for days in range(len(lows), 0, -1)]
    for night, (outdoors, indoors) in zip(nights, lows, strict=True):
        told(world.ledger, SITE, world.source.name, night, outdoors)
        if indoors is not None:
            read(world.ledger, SITE, "room", night, indoors)
    return nights


def following(count: int = 20) -> list[tuple[float, float]]:
    """Nights of a room that is 6 °C at 3 °C outdoors, and changes by a third of what that does."""
    rng = np.random.default_rng(4)
    outdoors = rng.normal(5.0, 3.0, count)
    return [(low, 6.0 + (low - 3.0) / 3.0 + rng.normal(0.0, 0.3)) for low in outdoors.tolist()]


def test_a_room_that_does_not_hold_what_was_typed(world: World) -> None:
    with_nights(world, *following())

    found = response(world)

    assert (found.form, found.nights) == (Form.FOLLOWS, 20)
    assert found.gain == pytest.approx(1 / 3, abs=0.06)
    assert found.predict(np.array(3.0))[0] == pytest.approx(6.0, abs=0.4)
    words = taught(world).taught
    assert words is not None
    assert words.startswith("you said 16 °C, but 20 nights show 6.")
    assert words.endswith("K")
    assert " °C outdoors and 5." in words
    assert ", give or take 0." in words
    document = learned_document(taught(world))
    assert document is not None
    assert (document["nights"], document["form"]) == (20, "follows")


def test_nights_that_were_not_read_indoors_count_for_walls_that_remember(world: World) -> None:
    with_nights(world, *[(9.0, None)] * 9, (9.0, 12.0), (1.0, None))

    found = response(world)

    assert found.nights == 1
    assert found.recent_c == (1.0 if found.lag_nights == 0 else pytest.approx(9.0, abs=4.1))


def test_a_reading_without_a_forecast_teaches_nothing(world: World) -> None:
    read(world.ledger, SITE, "room", local("12:00").date() - timedelta(days=1), 4.0)

    assert taught(world) == ROOM


def test_a_corrected_reading_is_learned_anew(world: World) -> None:
    night = local("12:00").date() - timedelta(days=1)
    told(world.ledger, SITE, world.source.name, night, 3.0)
    number = read(world.ledger, SITE, "room", night, 9.0)
    before = response(world)

    world.ledger.readings.correct_by_hand(SITE.name, number, 15.5)
    assert response(world).level_c > before.level_c + 3.0
    world.ledger.readings.delete_by_hand(SITE.name, number)
    assert taught(world) == ROOM


def test_days_colder_than_typed_are_believed(world: World) -> None:
    with_nights(world, *[(5.0, 15.8)] * 8)
    now = world.clock()
    quarter_hours = np.arange(int((now - timedelta(days=9)).timestamp()), now.timestamp(), 900)
    times = quarter_hours.astype(np.int64)
    clock = (times + SITE.zone.utcoffset(now).total_seconds()) // 3600 % 24  # type: ignore[union-attr]
    values = np.where((clock > 9) & (clock < 19), 17.0 + 0.2 * np.sin(times), 15.8)
    world.ledger.readings.keep(SITE.name, "room", AIR, "logger", by_the_hour(times, values))

    by_day = taught(world).holds_by_day_c

    assert ENOUGH_DAYS < 9
    assert by_day == pytest.approx(16.5, abs=0.5)
    assert response(world).day_low_c == by_day


def test_what_was_typed_as_an_offset_is_where_learning_starts(world: World) -> None:
    room = replace(ROOM, night_low_c=None, night_offset_k=4.0)
    given = world.household.collection
    collection = replace(given, spots=(given.spot("bench"), room))
    with_nights(world, (5.0, 9.5), (2.0, 6.4))

    found = response(world, collection)

    assert found.form is Form.FOLLOWS
    assert found.gain == pytest.approx(1.0, abs=0.1)
    spot = taught(world, collection)
    assert spot.taught is not None
    assert spot.taught.startswith("you said +4 K; 2 nights make it ")


# -- in what the service tells


def dusk(world: World) -> str:
    context = world.desk.context
    sheet = context.sheet(Round.DUSK, context.weather())
    return " ".join(full_sheet.text(sheet, context.voice, "credit").split())


def test_a_shelter_that_no_longer_holds_is_told_in_the_evening_and_ahead(world: World) -> None:
    world.desk.context.updater.fetch_now()
    assert "no spot is warm enough" not in dusk(world)
    with_nights(world, *following())

    text = dusk(world)

    assert (
        "no spot is warm enough; room is the warmest (6.1 °C expected, to be careful 5 °C" in text
    )
    assert " room may not hold 8 °C for Left pot, Right pot" in text
    assert "or find a warmer place" in text
    assert "Readings: room, you said 16 °C, but 20 nights show" in text


def test_the_daily_rounds_tell_it_ahead_once() -> None:
    world = a_world("16:58", low_c=3.0)
    with_nights(world, *following())
    world.desk.context.updater.fetch_now()

    world.clock.move(minutes=3)
    world.desk.tick()
    (first,) = [message for _, message in world.post.pushes if "in 2 plants" in message.title]
    world.clock.move(hours=24)
    world.desk.context.updater.fetch_now()
    world.desk.tick()
    second = world.post.pushes[-1][1]

    assert "! Heat room from Fri on: may fall to 6.1 °C (2 plants)" in first.body
    assert second is not first
    assert "no spot is known to be warm enough" in second.body
    assert "may fall to" not in second.body


def test_check_and_why_tell_what_was_typed_and_what_is_read(world: World) -> None:
    with_nights(world, *following())
    context = world.desk.context
    context.updater.fetch_now()
    household = replace(world.household, collection=context.collection)
    (sill,) = (plant for plant in household.collection.plants if plant.name == "Sill")
    explained = explain_plant(sill, household.collection, context.weather(), {}, world.clock())

    checked = " ".join(check.text(household, world.clock(), []).split())
    shown = why.text(explained, [], context.voice)
    in_fahrenheit = why.text(explained, [], Voice(SITE, units=US))

    assert "spot room (indoors) you said 16 °C, but 20 nights show 6." in checked
    assert check.document(household, world.clock(), [])["learned"]["room"]["form"] == "follows"
    assert "spot: was said to hold 16 °C at night, 20 °C by day" in shown
    assert "readings: you said 16 °C, but 20 nights show 6." in " ".join(shown.split())
    assert "readings: you said 60.8 °F, but 20 nights show 4" in " ".join(in_fahrenheit.split())
    sheets = [context.sheet(round_, context.weather()) for round_ in (Round.MORNING, Round.DUSK)]
    warned = " ".join(why.text(explained, sheets, context.voice).split())
    assert warned.count("room may fall to 5.0 °C, too cold for Sill: heat it") == 1
    assert "nothing to do for it" not in warned
    assert why.document(explained, [], SITE)["corrections"]["learned"]["nights"] == 20


# -- the night that goes on


def live(world: World, until: str, low_c: float, high_c: float) -> None:
    """Write what a sensor has shown since 17:00, falling in even steps."""
    times = np.arange(int(local("17:00").timestamp()), int(local(until).timestamp()), 300)
    values = np.linspace(high_c, low_c, times.size)
    world.ledger.readings.keep(SITE.name, "room", AIR, "logger", by_the_hour(times, values))


def test_heating_that_fails_tonight_counts_at_once() -> None:
    world = a_world("22:00", low_c=3.0)
    with_nights(world, *[(5.0, 15.8 + 0.1 * (n % 3)) for n in range(20)])
    told(world.ledger, SITE, world.source.name, DAY, 3.0)
    before = response(world)
    live(world, "22:00", 11.0, 17.0)

    after = response(world)

    outdoors = np.array(3.0)
    assert (before.nights, after.nights) == (20, 21)
    assert before.taken_to_hold(outdoors, 16.0, None) > 14.0
    assert after.taken_to_hold(outdoors, 16.0, None) < 11.0


def test_the_forecast_of_tonight_is_no_night_that_was() -> None:
    world = a_world("22:00", low_c=3.0)
    nights = with_nights(world, *[(5.0, 15.8 + 0.1 * (n % 3)) for n in range(20)])
    told(world.ledger, SITE, world.source.name, DAY, -8.0)
    still_warm = response(world)
    live(world, "22:00", 9.0, 15.0)
    failing = response(world)

    for found in (still_warm, failing):
        assert (found.recent_c, found.recent_night) == (5.0, nights[-1])


def test_a_room_that_is_still_warm_in_the_evening_teaches_nothing_of_the_night() -> None:
    world = a_world("22:00", low_c=3.0)
    with_nights(world, *[(5.0, 15.8 + 0.1 * (n % 3)) for n in range(20)])
    told(world.ledger, SITE, world.source.name, DAY, 3.0)
    before = response(world)
    live(world, "22:00", 17.5, 19.0)

    assert response(world) == before


def test_the_first_evening_with_a_sensor_may_contradict_what_was_typed() -> None:
    world = a_world("22:00", low_c=3.0)
    told(world.ledger, SITE, world.source.name, DAY, 3.0)
    live(world, "22:00", 9.0, 15.0)

    assert response(world).taken_to_hold(np.array(3.0), 16.0, None) < 10.0
