"""Situations in the morning round, from an all-clear to forty plants on a dry summer's day."""

from dataclasses import replace
from datetime import date, timedelta

from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service.answers import decline
from sillward.text.units import SI, Units
from sillward_rules.plants.care import Care
from sillward_rules.plants.season_memory import DAYS_RUNNING, SeasonMemory
from sillward_rules.plants.state import PlantState
from sillward_rules.weather.season import Season
from tests.support.collection_files import (
    FAR_NORTH,
    FEED,
    FEEDS_AND_COURSE,
    FORTY,
    ONE,
    OUTDOORS,
    SIX,
    Pot,
    courtyard,
    garden,
)
from tests.support.invented_weather import Recording, Sky, recording
from tests.support.situations.dusk import COLD, HARDIER
from tests.support.situations.situation import US, Told, of_round, situation
from tests.support.staged_day import StagedDay, staged_day

SUMMER = date(2026, 1, 20)

HOT = Sky([(20, 36)], dew_c=10, wind_m_s=3, cloud_pct=0)

AT = "08:35"
"""When the round is due in May; in January it is AT_SEVEN."""

AT_SEVEN = "07:10"

LEFT = ("Old cattleya", "Clay-pot lime")
"""Plants that a grower leaves out in the cold."""


def after_the_night(garden_: str, sky: Sky, units: Units, at: str = AT) -> Told:
    """Play the round of 15 May, after a dusk round that was followed."""
    played = staged_day(garden_, "17:15", sky, units=units, notices='remind = "never"')
    played.desk.tick()
    played.sleep(at, 1)
    return of_round(played, "morning", 1)


def summer(garden_: str, units: Units, sky: Sky | Recording = HOT) -> Told:
    """Play the round of 20 January, on the first day of service."""
    return of_round(staged_summer(garden_, units, sky), "morning")


def staged_summer(garden_: str, units: Units, sky: Sky | Recording = HOT) -> StagedDay:
    played = staged_day(garden_, AT_SEVEN, sky, units=units, day=SUMMER)
    played.desk.tick()
    return played


@situation("push-morning")
def nothing_today(units: Units) -> Told:
    """Six plants outdoors on a damp mild day."""
    played = staged_day(garden(SIX), AT, Sky([(15, 19)], dew_c=15, cloud_pct=100), units=units)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning", imperial=True)
def one_plant_out(units: Units) -> Told:
    """After a cold night."""
    return after_the_night(garden(ONE), COLD, units)


@situation("push-morning", imperial=True, full_in=(SI, US))
def six_plants_out(units: Units) -> Told:
    """After a cold night, from two shelters to two spots."""
    return after_the_night(garden(SIX), COLD, units)


@situation("push-morning", imperial=True)
def forty_plants_out(units: Units) -> Told:
    """After a cold night, from two shelters to four spots; a few may not go."""
    return after_the_night(garden(FORTY), COLD, units)


@situation("push-morning", full_in=(SI,))
def some_were_left_out_by_decision(units: Units) -> Told:
    """After a cold night: two of six were not to go in, the grower said."""
    played = staged_day(garden(SIX), "17:15", COLD, units=units, notices='remind = "never"')
    played.desk.tick()
    about = [(chore, [name for name in chore.plants if name in LEFT]) for chore in played.chores()]
    about = [(chore, names) for chore, names in about if names and chore.kind.value == "carry-in"]
    decline(played.ledger, played.household.collection.site.name, about, played.clock.now)
    played.sleep(AT, 1)
    return of_round(played, "morning", 1)


@situation("push-morning", imperial=True, full_in=(SI,))
def a_cold_night_is_asked_about(units: Units) -> Told:
    """A damp mild day; three of six plants stood in the cold four nights before."""
    played = staged_day(garden(SIX), AT, Sky([(15, 19)], dew_c=15, cloud_pct=100), units=units)
    now, site = played.clock.now, played.household.collection.site.name
    cold = [
        HarmfulNight(plant.name, date(2026, 5, 10), 6.2 + number, 0.7, True, True, 13.0, now)
        for number, plant in enumerate(played.household.collection.plants[:3])
    ]
    played.ledger.harmful_nights.note(site, cold)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning")
def a_day_too_cold_to_go_out(units: Units) -> Told:
    """After a cold night: all stay in."""
    return after_the_night(garden(SIX), Sky([(9, 17), (3, 6), (2, 8)]), units)


@situation("push-morning")
def one_out_and_five_stay_in(units: Units) -> Told:
    """After a cold night: warm enough for one of six."""
    return after_the_night(garden(SIX), Sky([(9, 17), (3, 9), (2, 9)]), units)


@situation("push-morning", imperial=True)
def one_to_mist(units: Units) -> Told:
    """One mount in summer, without a recipe."""
    return summer(garden([replace(ONE[0], holder="mount")]), units)


@situation("push-morning", imperial=True, full_in=(SI, US))
def a_dry_summer_morning(units: Units) -> Told:
    """Three to mist and feed, three to shade."""
    return summer(garden(SIX, FEED), units)


@situation("push-morning", imperial=True, full_in=(SI,))
def two_feeds_and_a_course(units: Units) -> Told:
    """A damp morning with two feeds on one walk, and a plant that gets a salt."""
    sky = Sky([(15, 24)], dew_c=12, cloud_pct=100)
    played = staged_day(garden(SIX, FEEDS_AND_COURSE), AT, sky, units=units)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning", imperial=True)
def forty_plants_with_two_feeds_and_a_course(units: Units) -> Told:
    """Several mistings at two spots, with feeds by name."""
    return summer(garden(FORTY, FEEDS_AND_COURSE), units)


@situation("push-morning", imperial=True)
def a_damp_morning_that_is_fine_for_feed(units: Units) -> Told:
    """Wet for hours: time for feed, and for its rinse."""
    sky = Sky([(15, 24)], dew_c=12, cloud_pct=100)
    played = staged_day(garden(SIX, FEED), AT, sky, units=units)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning", imperial=True, full_in=(SI,))
def forty_plants_on_a_dry_summer_day(units: Units) -> Told:
    """Feed, rinse and several mistings at two spots, shade, damp floors, crowns."""
    return summer(garden(FORTY, FEED), units)


@situation("push-morning", imperial=True)
def the_courtyard_on_a_dry_summer_day(units: Units) -> Told:
    """The packaged example."""
    return summer(courtyard(), units, recording("dry-summer"))


@situation("push-morning")
def the_courtyard_after_a_cold_night(units: Units) -> Told:
    """The packaged example, on the day after its cold snap began."""
    played = staged_day(courtyard(), "17:20", recording("cold-snap"), units=units)
    played.desk.tick()
    played.sleep(AT, 1)
    return of_round(played, "morning", 1)


@situation("push-morning", imperial=True)
def in_before_dusk(units: Units) -> Told:
    """The cold comes in the afternoon, before the dusk round: told in the morning."""
    sky = Sky([(10, 18), (1, 8)], coldest_h=0, warmest_h=9, cloud_pct=100)
    played = staged_day(garden(SIX), AT, sky, units=units)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning")
def out_and_in_again_before_dusk(units: Units) -> Told:
    """North of the polar circle some go out at noon, and in before the dusk round."""
    played = staged_day(
        garden(SIX, site=FAR_NORTH),
        "20:20",
        Sky([(6, 14)]),
        units=units,
        day=date(2026, 6, 20),
        notices='remind = "never"',
    )
    played.desk.tick()
    played.sleep("07:30", 1)
    return of_round(played, "morning", 1)


COOL = (
    Pot("Snowdrop", "masdevallia", holder="mount"),
    Pot("Little dragon", "masdevallia"),
    Pot("Pansy face", "miltoniopsis"),
)
"""Cool growers on the pergola."""

HEAT_WAVE = Sky([(18, 34), (20, 38), (22, 39)], dew_c=10, wind_m_s=2, cloud_pct=0)


def hot_day(garden_: str, sky: Sky, units: Units) -> Told:
    """Play the round of the second day."""
    played = staged_day(garden_, "18:00", sky, units=units, day=SUMMER, notices='remind = "never"')
    played.desk.tick()
    played.sleep(AT_SEVEN, 1)
    return of_round(played, "morning", 1)


@situation("push-morning", imperial=True, full_in=(SI, US))
def a_heat_wave_for_cool_growers(units: Units) -> Told:
    """Three cool growers among six others at 38 °C: to the sunroom for the day."""
    return hot_day(garden((*COOL, *SIX), FEED), HEAT_WAVE, units)


@situation("push-morning", full_in=(SI,))
def a_heat_wave_without_a_cooler_spot(units: Units) -> Told:
    """Nothing is known of any room by day: shade, damp floors and water."""
    bare = {"sunroom": "indoors = true\nnight_low = 14"}
    return hot_day(garden(COOL, FEED, spots=bare), HEAT_WAVE, units)


@situation("push-morning", imperial=True, full_in=(SI,))
def humid_heat(units: Units) -> Told:
    """Damp at 32 °C in deep shade: shade and water would do nothing, and no spot is cooler."""
    sky = Sky([(24, 32)], dew_c=26, wind_m_s=1, cloud_pct=100)
    bare = {
        "sunroom": "indoors = true\nnight_low = 14",
        "pergola": f"{OUTDOORS['pergola']}\nsun = []\nday_offset = 0\nshade = 0.6",
    }
    return hot_day(garden(COOL, spots=bare), sky, units)


@situation("push-morning", full_in=(SI,))
def the_second_day_of_a_heat_wave(units: Units) -> Told:
    """What went to the sunroom the day before stays in."""
    played = staged_day(
        garden((*COOL, *SIX)),
        "18:00",
        HEAT_WAVE,
        units=units,
        day=SUMMER,
        notices='remind = "never"',
    )
    played.desk.tick()
    played.sleep(AT_SEVEN, 1)
    played.sleep("19:30", 1)
    played.sleep(AT_SEVEN, 2)
    return of_round(played, "morning", 2)


@situation("push-morning", full_in=(SI,))
def a_shadier_bench_is_cooler(units: Units) -> Told:
    """Without a room: the wall bench gets no sun, and its thermometer reads 4 K less by day."""
    shady = {"wall bench": f"{OUTDOORS['wall bench']}\nsun = []\nday_offset = -4"}
    pots = [replace(pot, shelter=None) for pot in COOL]
    return hot_day(garden(pots, spots=shady), HEAT_WAVE, units)


@situation("push-morning", imperial=True, full_in=(SI,))
def salts_gather_at_the_roots(units: Units) -> Told:
    """Roots that bear little, and are fed and misted: they are flushed with rain, and not fed."""
    little = "limits.medium_salt_high = 0.6"
    tender = [replace(pot, holder="moss", more=little) for pot in SIX[:2]]
    return summer(garden([*tender, SIX[2]], "[water]\nec = 0.26", FEED), units)


@situation("push-morning", full_in=(SI,))
def the_water_is_too_salty(units: Units) -> Told:
    """Hard water, by which no flush would last: one with rain, told once a week."""
    return summer(garden(SIX, "[water]\nec = 1.1", FEED), units)


@situation("push-morning", imperial=True)
def the_growers_hours_do_not_serve(units: Units) -> Told:
    """Water can be given early and late only."""
    return summer(garden(SIX, '[habits]\nhours = ["07:00-08:00", "20:00-21:00"]'), units)


@situation("push-morning")
def the_afternoon_is_not_known(units: Units) -> Told:
    """A gap from nine to four on a summer's day."""
    return summer(garden(SIX), units, replace(HOT, unknown=(9, 16)))


@situation("push-morning", imperial=True)
def no_weather_at_all(units: Units) -> Told:
    """Since it was started nobody has answered."""
    played = staged_day(garden(SIX), AT_SEVEN, HOT, units=units, day=SUMMER)
    played.wire.failing = "answered 503"
    played.play("07:40")
    return of_round(played, "morning")


@situation("push-morning", imperial=True)
def weather_that_cannot_be_true(units: Units) -> Told:
    """The first forecast of all has the same temperature at all hours."""
    flat = replace(HOT, told=lambda temp: 15 + 0 * temp)
    played = staged_day(garden(SIX), AT, flat, units=units)
    played.play("09:15")
    return of_round(played, "morning")


@situation("push-morning")
def weather_that_is_too_old(units: Units) -> Told:
    """The last forecast is of the day before; the plants are outside."""
    played = staged_day(garden(SIX), "06:00", HOT, units=units, day=SUMMER)
    played.desk.tick()
    played.wire.failing = "answered 503"
    played.sleep(AT_SEVEN, 1)
    played.play("07:40", 1)
    return of_round(played, "morning", 1)


@situation("push-morning", imperial=True)
def rain_gusts_and_hail_by_day(units: Units) -> Told:
    """To secure and to cover, and nothing to carry."""
    pots = [replace(pot, more="limits.gust_high = 5\nlimits.rain_high = 10") for pot in SIX]
    sky = Sky(
        [(16, 24)],
        dew_c=14,
        cloud_pct=90,
        gusts=dict.fromkeys(range(14, 18), 30.0),
        rain={15: 14.0, 16: 3.0},
        hail=frozenset({15}),
    )
    played = staged_day(garden(pots), AT, sky, units=units)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning")
def defaults_and_a_note(units: Units) -> Told:
    """A spot of which the file says little, and a rule of the grower's own."""
    bare = {"pergola": "sky_view = 0.5"}
    rule = """
[[rules]]
name = "hot dry wind"
watch = "gust"
above = "5 m/s"
hours = "10:00-20:00"
asks = "note"
"""
    sky = replace(HOT, gusts=dict.fromkeys(range(13, 18), 24.0))
    pots = [Pot("Clay-pot lime", "citrus tender", shelter="back hall")]
    return summer(garden(pots, rule, spots=bare), units, sky)


@situation("push-morning", imperial=True, full_in=(SI,))
def a_walk_that_begins_before_dusk_is_told(units: Units) -> Told:
    """Thirty heavy pots: carrying them in takes longer than from the dusk round to their hour."""
    pots = [replace(pot, more='pot = { litres = 20, medium = "peat" }') for pot in HARDIER[:30]]
    played = staged_day(garden(pots), AT, COLD, units=units)
    played.desk.tick()
    return of_round(played, "morning")


@situation("push-morning", full_in=(SI,))
def spans_say_how_much_water(units: Units) -> Told:
    """Six plants of known span on a dry day, with a feed in a sprayer of half a litre."""
    pots = [replace(pot, more="span = 60") for pot in SIX]
    return summer(garden(pots, f"{FEED}litres = 0.5"), units)


def remembering(garden_: str, season: Season, at: str, day: date, units: Units) -> StagedDay:
    """A cold day of plants that were in this season until the day before, in days like it."""
    played = staged_day(garden_, at, COLD, units=units, day=day, notices='remind = "never"')
    collection = played.household.collection
    cold = day - timedelta(days=DAYS_RUNNING - 1)
    memory = SeasonMemory(
        season, day - timedelta(days=60), day - timedelta(days=1), other=-1, other_since=cold
    )
    states = {
        plant.name: PlantState(plant.home, assumed=False, care=Care(season=memory))
        for plant in collection.plants
    }
    played.ledger.plant_states.keep(collection.site.name, states)
    return played


@situation("push-morning", imperial=True, full_in=(SI,))
def a_rest_begins(units: Units) -> Told:
    """Six plants that slowed down until yesterday, after enough days too cold for that."""
    played = remembering(garden(SIX), Season.SLOWING, AT, date(2026, 5, 14), units)
    played.desk.tick()
    return of_round(played, "morning")
