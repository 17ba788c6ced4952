"""Situations in the week round, on a Sunday at six."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.service.season_memory import keep_season
from sillward.text.units import SI, Units
from sillward_rules.plants.collection import Collection
from sillward_rules.replay.past_nights import PastNights
from sillward_rules.replay.season import season_outlook, spots_in_question
from sillward_rules.weather.season import Season
from tests.support.collection_files import (
    FEEDS_AND_COURSE,
    FORTY,
    OUTDOORS,
    SIX,
    Pot,
    courtyard,
    garden,
)
from tests.support.invented_weather import Recording, Sky, recording
from tests.support.situations.dusk import COLD, with_a_cold_sunroom
from tests.support.situations.morning import COOL, remembering
from tests.support.situations.situation import US, Told, of_round, situation
from tests.support.staged_day import StagedDay, staged_day

SUNDAY = date(2026, 5, 17)


def week(
    garden_: str,
    sky: Sky | Recording,
    units: Units,
    *,
    day: date = SUNDAY,
    fails: bool = False,
    years_of_nights: int = 0,
    damaged: bool = False,
) -> Told:
    """Play the round at its hour, after the day's other rounds.

    years_of_nights: so many invented past years are kept for the season outlook. damaged: a night
    has damaged the first plant.
    """
    played = staged_day(garden_, "17:45", sky, units=units, day=day, notices='remind = "never"')
    if years_of_nights:
        collection = played.household.collection
        outlook = season_outlook(collection, past_nights(collection, years_of_nights))
        keep_season(played.ledger, collection, outlook, played.clock())
    if damaged:
        _damage(played)
    played.wire.failing = "answered 503" if fails else None
    played.desk.tick()
    played.sleep("18:20")
    return replace(of_round(played, "week"), order=False)


def _damage(played: StagedDay) -> None:
    """Damage was seen on the first plant, and put down to a night of 9.4 °C."""
    collection, now = played.household.collection, played.clock()
    site, plant = collection.site.name, collection.plants[0].name
    seen = DiaryEntry(plant, now, now, EntryKind.DAMAGE, "", what="soft tissue")
    played.ledger.diary.add(site, [seen])
    night = HarmfulNight(
        plant, date(2026, 5, 11), 9.4, 0.7, True, True, 13.0, now, answered_at=now, damaged=True
    )
    played.ledger.harmful_nights.keep(site, night)


@situation("push-week", full_in=(SI,))
def a_limit_is_proposed(units: Units) -> Told:
    """A mild week, after damage."""
    return week(garden(SIX), Sky([(16, 26)]), units, damaged=True)


@situation("push-week", imperial=True, full_in=(SI, US))
def a_cold_week(units: Units) -> Told:
    """Six plants, every night too cold for some."""
    lows = (3, 2, 4, 5, 7, 6, 4, 3)
    return week(garden(SIX), Sky([(low, low + 12) for low in lows]), units)


@situation("push-week", full_in=(SI,))
def a_mild_week_with_two_feeds_and_a_course(units: Units) -> Told:
    """On which days what is given, with a feed of every day and a salt."""
    sky = Sky([(15, 24)] * 9, dew_c=12, cloud_pct=100)
    return week(garden(SIX, FEEDS_AND_COURSE), sky, units, day=date(2026, 1, 18))


@situation("push-week", full_in=(SI,))
def a_feed_and_a_course_that_are_too_strong(units: Units) -> Told:
    """Each for its plants; a third feed is for another time of the year."""
    given = FEEDS_AND_COURSE
    for old, new in (
        ("ppm_n = 25", 'ppm_n = 25\nfrom = "06-01"\nuntil = "08-31"'),
        ("ppm_n = 50", "ppm_n = 250"),
        ("grams_per_litre = 0.4", "grams_per_litre = 0.8"),
    ):
        given = given.replace(old, new)
    sky = Sky([(15, 24)] * 9, dew_c=12, cloud_pct=100)
    return week(garden(SIX, given), sky, units, day=date(2026, 1, 18))


@situation("push-week")
def a_cold_week_for_forty(units: Units) -> Told:
    """Forty plants on four spots."""
    lows = (3, 2, 4, 5, 7, 6, 4, 3)
    return week(garden(FORTY), Sky([(low, low + 12) for low in lows]), units)


@situation("push-week", imperial=True)
def a_mild_week(units: Units) -> Told:
    """Nothing to carry."""
    return week(garden(SIX), Sky([(16, 26)]), units)


@situation("push-week")
def frost(units: Units) -> Told:
    """Nights about and under nought."""
    lows = (0, -0.4, -2, -4, -1, 0.3, 1, 2)
    return week(garden(SIX), Sky([(low, low + 10) for low in lows], dew_c=-6), units)


def past_nights(collection: Collection, years: int) -> PastNights:
    """Nights of past years: the same each year, a week later or sooner, 8 K colder in July."""
    spots = tuple(spot.name for spot in spots_in_question(collection))
    first = date(2026 - years, 1, 1)
    days = [first + timedelta(days=number) for number in range((date(2026, 1, 1) - first).days)]
    phase = np.array(
        [(day.timetuple().tm_yday - 196 - 7 * (day.year % 3 - 1)) / 365.25 for day in days]
    )
    low = np.repeat((12 - 8 * np.cos(2 * np.pi * phase))[:, None], len(spots), axis=1)
    return PastNights(first, spots, low, np.full(low.shape, 18.0))


@situation("push-week", imperial=True, full_in=(SI,))
def a_mild_week_before_nights_are_safe(units: Units) -> Told:
    """A week of October; twelve past years are kept."""
    day = date(2026, 10, 11)
    return week(garden(SIX), Sky([(14, 26)]), units, day=day, years_of_nights=12)


@situation("push-week")
def a_mild_week_before_nights_get_cold(units: Units) -> Told:
    """A week of March; six past years are kept."""
    day = date(2026, 3, 22)
    return week(garden(SIX), Sky([(16, 28)]), units, day=day, years_of_nights=6)


@situation("push-week", imperial=True)
def a_week_of_which_nothing_is_known(units: Units) -> Told:
    """Since it was started nobody has answered."""
    return week(garden(SIX), COLD, units, fails=True)


@situation("push-week", imperial=True)
def a_dark_spot(units: Units) -> Told:
    """The pergola gets no sun and little sky; it is too damp for mistings."""
    dark = {"pergola": f"{OUTDOORS['pergola']}\nsun = []\nday_offset = 0\nshade = 0.4"}
    return week(garden(SIX, spots=dark), Sky([(16, 24)], dew_c=16, cloud_pct=40), units)


@situation("push-week", imperial=True, full_in=(SI, US))
def a_hot_dry_spell(units: Units) -> Told:
    """A week of January beyond the limits of many, several mistings a day."""
    hot = Sky([(20, 36), (21, 38), (22, 40), (22, 41), (21, 38)], dew_c=6, wind_m_s=3, cloud_pct=0)
    return week(garden(SIX), hot, units, day=date(2026, 1, 18))


@situation("push-week", imperial=True, full_in=(SI,))
def a_heat_wave_with_warm_nights(units: Units) -> Told:
    """A week too hot for cool growers, by day and by night."""
    hot = Sky([(20, 36), (21, 38), (22, 40), (22, 41), (15, 30)], dew_c=10, cloud_pct=0)
    return week(garden((*COOL, *SIX)), hot, units, day=date(2026, 1, 18))


@situation("push-week", imperial=True)
def the_season_turns_cold(units: Units) -> Told:
    """The first night that needs a carry comes on Wednesday."""
    sky = Sky([(16, 26), (16, 26), (15, 25), (14, 24), (8, 19), (6, 17)])
    return week(garden(SIX), sky, units)


@situation("push-week")
def the_season_turns_warm(units: Units) -> Told:
    """After cold nights none is left that needs a carry."""
    sky = Sky([(6, 17), (7, 18), (9, 20), (14, 24), (16, 26)])
    return week(garden(SIX), sky, units, day=date(2026, 10, 18))


@situation("push-week")
def the_courtyard_in_a_wet_autumn(units: Units) -> Told:
    """The packaged example, on a Sunday."""
    return week(courtyard(), recording("wet-autumn"), units, day=date(2026, 4, 12))


@situation("push-week")
def all_live_indoors(units: Units) -> Told:
    """There is no night to tell of."""
    return week(garden([Pot("Moth orchid", "phalaenopsis", "sunroom", None, 13)]), COLD, units)


@situation("push-week", full_in=(SI,))
def a_week_with_a_cold_sunroom(units: Units) -> Told:
    """What the thermometer in the sunroom says of the nights ahead, with what can be done."""
    sky = Sky([(low, low + 10) for low in (15, 15, 14, 6, 4, 3, 5, 8)])
    played = staged_day(
        garden(SIX), "17:45", sky, units=units, day=SUNDAY, notices='remind = "never"'
    )
    with_a_cold_sunroom(played).desk.tick()
    played.sleep("18:20")
    return replace(of_round(played, "week"), order=False)


@situation("push-week", full_in=(SI,))
def plants_at_rest(units: Units) -> Told:
    """Six plants that have rested for two months, two of them dry."""
    played = remembering(garden(SIX), Season.REST, "17:45", SUNDAY, units)
    played.desk.tick()
    played.sleep("18:20")
    return replace(of_round(played, "week"), order=False)
