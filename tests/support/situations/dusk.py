"""Situations at the dusk round, from an all-clear to forty plants in a frost."""

from dataclasses import replace
from datetime import date, timedelta

from sillward.text.units import SI, Units
from tests.support.collection_files import (
    FAR_NORTH,
    FORTY,
    INDOORS,
    ONE,
    OUTDOORS,
    SIX,
    Pot,
    courtyard,
    garden,
)
from tests.support.invented_weather import Recording, Sky, recording
from tests.support.past_readings import read, told
from tests.support.situations.situation import US, Told, of_round, situation
from tests.support.staged_day import StagedDay, staged_day

COLD = Sky([(9, 17), (3, 15), (5, 16)])
"""A night of some 3 °C at most spots; the sun sets at 18:45."""

MILD = Sky([(16, 26)])

AT = "17:15"
"""When the round is due on 14 May."""


def dusk(
    garden_: str, sky: Sky | Recording, units: Units, *, day: date | None = None, at: str = AT
) -> Told:
    """Play the round at its hour, with a forecast of that hour."""
    played = staged_day(garden_, at, sky, units=units, day=day or date(2026, 5, 14))
    played.desk.tick()
    return of_round(played, "dusk")


def dusk_without(units: Units, sky: Sky, fetched: str, until: str, days: int = 0) -> Told:
    """Play the round of six plants whose last forecast is of an earlier hour."""
    played = staged_day(garden(SIX), fetched, sky, units=units, notices='remind = "never"')
    played.desk.tick()
    played.wire.failing = "answered 503"
    played.sleep(until, days)
    return of_round(played, "dusk", days)


@situation("push-dusk", imperial=True)
def a_warm_night(units: Units) -> Told:
    """Six plants, and nothing to do: a channel that wants to hear of it all the same."""
    return dusk(garden(SIX), MILD, units)


@situation("push-dusk")
def nothing_lives_outdoors(units: Units) -> Told:
    """One plant, in the sunroom, which holds its limit."""
    return dusk(garden([Pot("Moth orchid", "phalaenopsis", "sunroom", None, 13)]), COLD, units)


@situation("push-dusk", imperial=True, full_in=(SI,))
def a_warm_night_before_a_hot_dawn(units: Units) -> Told:
    """A hot wind all night: a cool grower must be out of it before the next morning round."""
    sky = Sky([(24, 37), (33, 40), (30, 41)], dew_c=8, wind_m_s=4)
    pots = [Pot("Snowdrop", "masdevallia", holder="mount"), *SIX]
    return dusk(garden(pots), sky, units, day=date(2026, 1, 20), at="19:20")


@situation("push-dusk", imperial=True)
def one_plant(units: Units) -> Told:
    """One basket, one way."""
    return dusk(garden(ONE), COLD, units)


@situation("push-dusk", imperial=True, full_in=(SI, US))
def six_plants_on_two_spots(units: Units) -> Told:
    """Three to one shelter from the pergola; from the wall bench to two."""
    return dusk(garden(SIX), COLD, units)


@situation("push-dusk", imperial=True, full_in=(SI,))
def forty_plants_on_four_spots(units: Units) -> Told:
    """Ten on each spot, all but one too tender for the night, two shelters."""
    return dusk(garden(FORTY), COLD, units)


@situation("push-dusk", imperial=True)
def forty_plants_due_at_once(units: Units) -> Told:
    """Told after the last hour for carrying in."""
    played = staged_day(garden(FORTY), "19:50", COLD, units=units)
    played.desk.tick()
    return of_round(played, "dusk")


@situation("push-dusk", imperial=True)
def forty_plants_on_ten_spots(units: Units) -> Told:
    """More walks than a push can tell, even in one line."""
    steps = [f"terrace step {number}, south" for number in range(1, 11)]
    pots = [replace(pot, home=steps[number % 10]) for number, pot in enumerate(FORTY)]
    spots = dict.fromkeys(steps, OUTDOORS["back stairs"])
    return dusk(garden(pots, spots=spots), COLD, units)


@situation("push-dusk", imperial=True)
def the_courtyard_in_a_cold_snap(units: Units) -> Told:
    """The packaged example: its usual hour is near already."""
    return dusk(courtyard(), recording("cold-snap"), units)


@situation("push-dusk")
def the_courtyard_before_rain(units: Units) -> Told:
    """The packaged example in a wet autumn: a warm night, crowns wet with rain."""
    played = staged_day(
        courtyard(), "18:05", recording("wet-autumn"), units=units, day=date(2026, 4, 9)
    )
    played.desk.tick()
    return of_round(played, "dusk")


@situation("push-dusk")
def an_old_forecast(units: Units) -> Told:
    """The source has failed for eight hours."""
    return dusk_without(units, COLD, "09:15", AT)


@situation("push-dusk")
def an_old_forecast_of_a_warm_night(units: Units) -> Told:
    """Likewise, and nothing to do by it."""
    return dusk_without(units, MILD, "09:15", AT)


@situation("push-dusk", imperial=True)
def a_forecast_that_is_too_old(units: Units) -> Told:
    """The source has failed since the day before."""
    return dusk_without(units, MILD, "14:00", "17:40", days=1)


@situation("push-dusk")
def a_night_of_which_too_few_hours_are_known(units: Units) -> Told:
    """A gap of eight hours in a warm night."""
    return dusk(garden(SIX), replace(MILD, unknown=(26, 34)), units)


FROST = Sky([(-4, 9)], dew_c=-9)
"""Nights of frost, day after day."""


def dusk_after_a_lie(units: Units, good: Sky, bad: Sky, pots: str | None = None) -> StagedDay:
    """Play the round of six plants after a forecast that cannot be true.

    The forecast before it is of the afternoon.
    """
    played = staged_day(pots or garden(SIX), "14:00", good, units=units, notices='remind = "never"')
    played.desk.tick()
    played.wire.sky = bad
    played.play(AT, step=15)
    return played


@situation("push-dusk", imperial=True, full_in=(SI, US))
def a_forecast_in_fahrenheit_that_is_labelled_celsius(units: Units) -> Told:
    """In frost: the source tells nights of 25, and they are degrees Fahrenheit."""
    lie = replace(FROST, told=lambda temp: 32 + 1.8 * temp)
    return of_round(dusk_after_a_lie(units, FROST, lie), "dusk")


@situation("push-dusk", imperial=True)
def a_forecast_that_got_much_warmer(units: Units) -> Told:
    """By 14 K within hours, at all hours, of a night that was to be mild."""
    return of_round(dusk_after_a_lie(units, Sky([(8, 15)]), Sky([(22, 29)])), "dusk")


@situation("push-dusk", imperial=True)
def a_forecast_that_got_much_colder(units: Units) -> Told:
    """By 20 K within hours, of a warm night: who knows."""
    return of_round(dusk_after_a_lie(units, MILD, Sky([(-4, 6)], dew_c=-9)), "dusk")


@situation("push-dusk", imperial=True, full_in=(SI, US))
def a_first_forecast_that_cannot_be_true(units: Units) -> Told:
    """Nights of 60 °C, in May."""
    hot = replace(MILD, told=lambda temp: 59.9 + temp / 1000)
    played = staged_day(garden(SIX), AT, hot, units=units, notices='remind = "never"')
    played.play("17:40")
    return of_round(played, "dusk")


@situation("push-dusk", imperial=True, full_in=(SI, US))
def no_forecast_at_all(units: Units) -> Told:
    """Since it was started nobody has answered."""
    played = staged_day(garden(SIX), AT, COLD, units=units, notices='remind = "never"')
    played.wire.failing = "answered 503"
    played.play("17:40")
    return of_round(played, "dusk")


CHILLY = {"sunroom": "indoors = true\nnight_low = 11\nday_low = 16\nhumidity = 55"}
KITCHEN = {"kitchen": "indoors = true\nnight_low = 17\nday_low = 19\nhumidity = 50"}


@situation("push-dusk", imperial=True)
def a_shelter_that_is_too_cold(units: Units) -> Told:
    """The sunroom holds 11 °C, and there is nothing warmer."""
    return dusk(garden(SIX, spots=CHILLY), COLD, units)


@situation("push-dusk")
def a_shelter_that_is_too_cold_and_a_better_one(units: Units) -> Told:
    """The sunroom holds 11 °C, the kitchen 17 °C."""
    return dusk(garden(SIX, spots=CHILLY | KITCHEN), COLD, units)


@situation("push-dusk")
def a_shelter_of_which_nothing_is_known(units: Units) -> Told:
    """The file does not say what the sunroom holds."""
    return dusk(garden(SIX, spots={"sunroom": "indoors = true"}), COLD, units)


HOMELESS = [replace(pot, shelter=None) for pot in SIX]


@situation("push-dusk", imperial=True)
def no_shelter_at_all(units: Units) -> Told:
    """No plant has a shelter, and no spot holds what it needs."""
    told = dusk(garden(HOMELESS), COLD, units)
    return replace(told, into=told.plants, homeless=told.plants, order=True)


GREENHOUSE = {"greenhouse": "indoors = true\nnight_offset = 6"}


@situation("push-dusk")
def no_shelter_for_two_of_six(units: Units) -> Told:
    """Two plants live in the greenhouse that is warm enough for the others, but not for them."""
    tender = [replace(pot, home="greenhouse", shelter=None) for pot in SIX[:2]]
    hardy = [replace(pot, shelter="greenhouse", night_low=7) for pot in SIX[2:]]
    told = dusk(garden([*tender, *hardy], spots=GREENHOUSE), COLD, units)
    homeless = frozenset(pot.name for pot in tender)
    return replace(told, into=told.into | homeless, homeless=homeless)


@situation("push-dusk")
def no_shelter_given_and_none_warm_enough(units: Units) -> Told:
    """Two plants have none, and the sunroom, the warmest, holds 2 °C too little for them."""
    pots = [*(replace(pot, shelter=None, night_low=16) for pot in SIX[:2]), *SIX[2:]]
    return dusk(garden(pots), COLD, units)


@situation("push-dusk")
def a_shelter_chosen_for_three(units: Units) -> Told:
    """Three plants have none, and the sunroom would do."""
    return dusk(garden([*HOMELESS[:3], *SIX[3:]]), COLD, units)


@situation("push-dusk", imperial=True)
def a_brief_dip_that_is_borne(units: Units) -> Told:
    """At dawn the pergola is under a limit for less than an hour."""
    return dusk(garden([replace(pot, night_low=13) for pot in SIX]), BRIEF, units)


BRIEF = Sky([(15, 24), (13.14, 24), (16, 24)], cloud_pct=100, dew_c=9)


@situation("push-dusk", imperial=True)
def a_close_call(units: Units) -> Told:
    """The night stays half a degree above a limit, by the forecast."""
    return dusk(garden(SIX), Sky([(15, 24), (13.4, 24)], cloud_pct=100, dew_c=9), units)


@situation("push-dusk")
def close_calls_at_four_spots(units: Units) -> Told:
    """Forty plants, and limits of many of them not far away."""
    limits = {"pergola": 11.8, "wall bench": 11.9, "roof terrace": 11.6, "back stairs": 11.8}
    pots = [replace(pot, night_low=limits[pot.home] + n % 2 / 4) for n, pot in enumerate(FORTY)]
    warm = {"back hall": INDOORS["back hall"].replace("night_low = 8", "night_low = 15")}
    hall = {name: f"indoors = true\n{text}" for name, text in warm.items()}
    sky = Sky([(15, 24), (12.6, 24)], cloud_pct=100, dew_c=9)
    return dusk(garden(pots, spots=hall), sky, units)


@situation("push-dusk", imperial=True)
def two_sources_that_disagree(units: Units) -> Told:
    """The second source is five degrees colder."""
    other = Sky([(9, 17), (6, 15)])
    played = staged_day(garden(SIX), AT, Sky([(9, 17), (11, 18)]), units=units, other=other)
    played.desk.tick()
    return of_round(played, "dusk")


@situation("push-dusk", full_in=(SI,))
def inside_already(units: Units) -> Told:
    """After a cold night and a day too cold to go out: they stay where they are."""
    played = two_evenings(Sky([(9, 17), (3, 6), (2, 8)]), units)
    return of_round(played, "dusk", 1)


@situation("push-dusk")
def inside_but_one(units: Units) -> Told:
    """Of six plants one went out for a day that was warm enough for it."""
    played = two_evenings(Sky([(9, 17), (3, 9), (2, 9)]), units)
    return of_round(played, "dusk", 1)


def two_evenings(sky: Sky, units: Units) -> StagedDay:
    """Play two dusk rounds and the morning round between them, all followed."""
    played = staged_day(garden(SIX), AT, sky, units=units, notices='remind = "never"')
    played.desk.tick()
    played.sleep("08:35", 1)
    played.sleep(AT, 1)
    return played


WINDY = Sky([(15, 24), (15, 24)], gusts=dict.fromkeys(range(20, 26), 30.0))
STORM = Sky(
    [(15, 24), (15, 24)], rain={22: 14.0, 23: 6.0}, hail=frozenset({22}), cloud_pct=90, dew_c=14
)
SHY = [replace(pot, more="limits.gust_high = 5\nlimits.rain_high = 10") for pot in SIX]


@situation("push-dusk", imperial=True)
def gusts_in_the_night(units: Units) -> Told:
    """Baskets and mounts to secure before 30 m/s over open land."""
    return dusk(garden(SHY), WINDY, units)


@situation("push-dusk", imperial=True)
def rain_and_hail_in_the_night(units: Units) -> Told:
    """To cover: heavy rain at one spot, hail at both."""
    return dusk(garden(SHY), STORM, units)


@situation("push-dusk", imperial=True)
def cold_gusts_and_hail(units: Units) -> Told:
    """Six to carry in, gusts, heavy rain and hail: all in one evening."""
    sky = replace(STORM, days=[(9, 17), (8.8, 15)], dew_c=5, gusts=WINDY.gusts)
    return dusk(garden(SHY), sky, units)


@situation("push-dusk", imperial=True)
def hail_before_the_cold(units: Units) -> Told:
    """Hail at seven, and cold late in the night: all goes in before the hail."""
    sky = Sky([(9, 21), (7.3, 15)], dew_c=5, hail=frozenset({19}), cloud_pct=90, coldest_h=7.0)
    return dusk(garden(SHY), sky, units)


@situation("push-dusk", imperial=True)
def summer_beyond_the_polar_circle(units: Units) -> Told:
    """The sun does not set: the "night" is the six hours about its lowest."""
    played = staged_day(
        garden(SIX, site=FAR_NORTH), "20:20", Sky([(6, 14)]), units=units, day=date(2026, 6, 20)
    )
    played.desk.tick()
    return of_round(played, "dusk")


@situation("push-dusk")
def a_clock_that_is_off(units: Units) -> Told:
    """The forecast's server shows another time."""
    played = staged_day(garden(SIX), "17:00", COLD, units=units)
    played.wire.ahead_by(minutes=12)
    played.play(AT)
    return of_round(played, "dusk")


def with_a_cold_sunroom(played: StagedDay) -> StagedDay:
    """Add twelve nights on which the sunroom, said to hold 14 °C, was read at 12 °C or so."""
    site, source = played.household.collection.site, played.desk.context.forecasts.sources[0]
    for number in range(12):
        night = played.day - timedelta(days=12 - number)
        outdoors = 3.0 + number % 5
        told(played.ledger, site, source.name, night, outdoors)
        read(played.ledger, site, "sunroom", night, 10.9 + outdoors / 4 + 0.2 * (number % 2))
    return played


@situation("push-dusk", imperial=True, full_in=(SI,))
def a_sunroom_that_no_longer_holds(units: Units) -> Told:
    """A mild night, and cold ones from the day after tomorrow on: told two days ahead."""
    sky = Sky([(15, 25), (15, 25), (15, 24), (3, 12), (4, 13)])
    played = with_a_cold_sunroom(staged_day(garden(SIX), AT, sky, units=units))
    played.desk.tick()
    return of_round(played, "dusk")


@situation("push-dusk")
def a_sunroom_that_does_not_hold_tonight(units: Units) -> Told:
    """A cold night: told with the orders, and of the nights ahead in short."""
    played = with_a_cold_sunroom(staged_day(garden(SIX), AT, COLD, units=units))
    played.desk.tick()
    return of_round(played, "dusk")


def with_a_read_pergola(played: StagedDay, *errors_k: float) -> StagedDay:
    """Add nights on which the pergola was so much warmer than forecast."""
    site, source = played.household.collection.site, played.desk.context.forecasts.sources[0]
    for ago, error_k in enumerate(reversed(errors_k), start=1):
        night = played.day - timedelta(days=ago)
        told(played.ledger, site, source.name, night, 9.0)
        read(played.ledger, site, "pergola", night, 9.0 + error_k)
    return played


@situation("push-dusk", imperial=True, full_in=(SI,))
def a_pergola_that_was_read_colder_than_forecast(units: Units) -> Told:
    """The forecast alone would leave its plants out; thirty nights say otherwise."""
    mild = Sky([(15, 25), (14.5, 25)])
    played = with_a_read_pergola(
        staged_day(garden(SIX), AT, mild, units=units), *([-1.8, -2.4, -2.1] * 10)
    )
    played.desk.tick()
    return of_round(played, "dusk")


@situation("push-dusk", imperial=True, full_in=(SI,))
def a_thermometer_that_was_moved(units: Units) -> Told:
    """It shows five kelvins more for twelve nights: asked about, and the colder case counts."""
    played = with_a_read_pergola(
        staged_day(garden(SIX), AT, COLD, units=units), *([-0.8, -0.2] * 15), *([4.6, 5.0] * 6)
    )
    played.desk.tick()
    return of_round(played, "dusk")


HEAVY = tuple(
    replace(pot, more='pot = { litres = 30, medium = "peat" }\nspan = 120')
    if pot.name in ("Clay-pot lime", "Courtyard hibiscus")
    else replace(pot, more='pot = { litres = 3, medium = "bark" }')
    for pot in SIX
)
"""The six, two of them in pots of 38 kg."""


@situation("push-dusk", imperial=True, full_in=(SI, US))
def heavy_pots(units: Units) -> Told:
    """Six plants of known size, two of them too heavy for one person."""
    return dusk(garden(HEAVY), COLD, units)


WARMEST = ("phalaenopsis", "vanda strap-leaf", "aerides", "hoya warm")

HARDIER = tuple(
    replace(pot, more='pot = { litres = 4, medium = "bark" }')
    for pot in FORTY
    if pot.group not in WARMEST
)
"""Those of the forty that need no more than 13 °C, in pots of known size."""


@situation("push-dusk", imperial=True)
def a_long_walk(units: Units) -> Told:
    """Plants of known size: all of them take an hour, and the message says when to begin."""
    return dusk(garden(HARDIER), COLD, units)
