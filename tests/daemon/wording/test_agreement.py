"""No push contradicts its sheet: in all situations, in the packaged weathers, and at random."""

import random
import re
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, timedelta, tzinfo
from itertools import product

import pytest

from sillward.assembly import read_only
from sillward.assembly.examples import DEMOS, demo
from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.text.units import SI, Units
from sillward.wording import chore_phrases, full_sheet, short_sheet
from sillward_rules.chore import Chore, ChoreKind, Grounds
from sillward_rules.plants.state import PlantState
from sillward_rules.remark import NotConfirmed
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.transitions import next_state
from tests.support.agreement import contradictions
from tests.support.cases import for_each
from tests.support.collection_files import FEED, FEEDS_AND_COURSE, FORTY, INDOORS, OUTDOORS, garden
from tests.support.core import fetched, utc
from tests.support.invented_weather import Sky
from tests.support.paths import EXAMPLES
from tests.support.situations.golden import PLAYED
from tests.support.situations.situation import ALL, US, Situation
from tests.support.staged_day import staged_day

ROUNDS = ("push-dusk", "push-morning")

SEEDS = 15
"""Households and weathers at random; the slow set has more."""

assert PLAYED  # they have entered themselves into ALL


@for_each(
    product([situation for situation in ALL if situation.family in ROUNDS], [SI, US]),
    lambda situation, units: f"{situation.name}, {units.temperature}",
)
def test_no_push_of_a_situation_contradicts_its_sheet(situation: Situation, units: Units) -> None:
    told = situation.told(units)
    chores = [in_zone(stored.chore, told.at.tzinfo) for stored in told.chores if stored.open]

    assert contradictions(told.push.title, told.push.body, chores, told.at) == [], told.text


def in_zone(chore: Chore, zone: tzinfo | None) -> Chore:
    """A chore of the ledger, whose times are in UTC, with times of a zone, as sheets have them."""
    start = chore.not_before
    return replace(
        chore,
        before=chore.before.astimezone(zone),
        not_before=None if start is None else start.astimezone(zone),
    )


def disagreements(sheet: Sheet, household: Household) -> list[str]:
    """Return how the push of a sheet contradicts it; if it does, the last entry is the push."""
    push = short_sheet.message(sheet, household.voice)
    standing = {name: state.spot for name, state in sheet.states.items()}
    # What is open since last night is asked about in one line, and no order of this morning.
    asked = {
        name
        for warning in sheet.warnings
        if isinstance(warning, NotConfirmed)
        for name in warning.plants
    }
    today = str(sheet.at.astimezone(household.collection.site.zone).date())
    orders = [
        chore for chore in sheet.chores if chore.day >= today or not asked.issuperset(chore.plants)
    ]
    wrong = contradictions(push.title, push.body, orders, sheet.at, standing, sheet.warnings)
    if asked and "go in last night?" not in push.body:
        wrong.append("nobody is asked about last night")
    failing = [warning for warning in sheet.warnings if chore_phrases.is_too_cold(warning)]
    who = rf"(?:\d+ plants\b|{re.escape(failing[0].plants[0])}\b)" if failing else ""
    told = rf"! (?:no spot is known to be warm enough for )?{who}" if failing else ""
    if not any(re.match(told, line) for line in push.body.splitlines()):
        wrong.append("nothing is said of where it is too cold")
    return [*wrong, f"{push.title}\n{push.body}"] if wrong else []


@pytest.mark.parametrize("weather", DEMOS)
def test_no_push_of_the_packaged_weathers_contradicts_its_sheet(weather: str) -> None:
    app = demo(weather)
    now, states = app.clock(), dict[str, PlantState]()
    forecast, rounds = read_only.fetched_weather(app, now), app.household.rounds
    for days in range(5):
        day = app.site.local_date(now) + timedelta(days=days)
        for round_, at in (
            (Round.MORNING, rounds.morning.on(app.site, day)),
            (Round.DUSK, rounds.dusk.on(app.site, day)),
        ):
            if at < now:
                continue
            sheet = draw_up(round_, app.household.collection, fetched(forecast, at), states, at)
            states = next_state(states, sheet)
            assert disagreements(sheet, app.household) == []


def test_no_push_for_three_hundred_plants_contradicts_its_sheet() -> None:
    app = demo("cold-snap")
    household = load_household(EXAMPLES / "three-hundred-plants.toml")
    now, states = app.clock(), dict[str, PlantState]()
    forecast, site = read_only.fetched_weather(app, now), household.collection.site
    day = site.local_date(now) + timedelta(days=1)
    told = []
    for round_, moment in (
        (Round.MORNING, household.rounds.morning),
        (Round.DUSK, household.rounds.dusk),
    ):
        at = moment.on(site, day)
        sheet = draw_up(round_, household.collection, fetched(forecast, at), states, at)
        states = next_state(states, sheet)
        assert disagreements(sheet, household) == []
        told.append(short_sheet.message(sheet, household.voice).body)
        told.append(full_sheet.text(sheet, household.voice, ""))

    assert any(re.search(r"\d–\d", text) for text in told)


SEASONS = (date(2026, 1, 20), date(2026, 4, 9), date(2026, 5, 14), date(2026, 10, 6))


def anything(seed: int) -> Iterator[tuple[Sheet, Household]]:
    """Return a day of a household drawn by lot: plants, spots, shelters, sky and hours."""
    lot = random.Random(seed)
    spots = [*OUTDOORS][: lot.randint(1, 4)]
    pots = [
        replace(
            pot,
            home=lot.choice(spots),
            shelter=lot.choice([pot.shelter, pot.shelter, None]),
            holder=lot.choice(["mount", "basket", "pot"]),
        )
        for pot in lot.sample(FORTY, lot.choice([3, 6, 9, 15, 40]))
    ]
    rooms = {name: f"indoors = true\n{text}" for name, text in INDOORS.items()}
    hours = lot.choice(["", '[habits]\nhours = ["06:30-09:00", "16:00-20:00"]\n'])
    low = lot.uniform(2, 22)
    days = [(low + lot.uniform(-4, 4), low + lot.uniform(6, 18)) for _ in range(4)]
    sky = Sky(
        days,
        dew_c=lot.uniform(-6, 14),
        wind_m_s=lot.uniform(0.3, 5),
        cloud_pct=lot.choice([0, 10, 60, 100]),
        gusts={lot.randint(6, 60): lot.uniform(14, 30)} if lot.random() < 0.3 else {},
        rain=dict.fromkeys(range(start, start + 6), 2.0)
        if (start := lot.randint(0, 90)) < 40
        else {},
        hail=frozenset({lot.randint(10, 40)}) if lot.random() < 0.2 else frozenset(),
    )
    played = staged_day(
        garden(pots, lot.choice(["", FEED, FEEDS_AND_COURSE]), hours, spots=rooms),
        "05:00",
        sky,
        day=lot.choice(SEASONS),
    )
    household = played.household
    site = household.collection.site
    played.desk.tick()
    weather = played.desk.context.weather()
    states: dict[str, PlantState] = {}
    for days_on in range(2):
        day = played.day + timedelta(days=days_on)
        for round_, moment in (
            (Round.MORNING, household.rounds.morning),
            (Round.DUSK, household.rounds.dusk),
        ):
            at = moment.on(site, day) + timedelta(minutes=lot.choice([0, 0, 37]))
            sheet = draw_up(round_, household.collection, fetched(weather, at), states, at)
            states = next_state(states, sheet)
            yield sheet, household


@pytest.mark.parametrize(
    "seed",
    [
        *range(SEEDS),
        90,  # one way for plants that are due and for one that is overdue
        104,
        *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(SEEDS, 60)),
    ],
)
def test_no_push_of_any_household_contradicts_its_sheet(seed: int) -> None:
    for sheet, household in anything(seed):
        assert disagreements(sheet, household) == []


# -- the check can fail


def chore(kind: ChoreKind, plants: str, to: str, start: str | None, end: str) -> Chore:
    """Return a chore at the pergola, on one day, in UTC."""
    return Chore(
        id=f"{kind.value}-{end}-{plants}",
        kind=kind,
        plants=tuple(plants.split()),
        from_spot="pergola",
        to_spot=to,
        not_before=None if start is None else utc(f"2026-10-07T{start}"),
        before=utc(f"2026-10-07T{end}"),
        grounds=Grounds.of(),
    )


MORNING = (
    chore(ChoreKind.MIST, "A B C", "pergola", "10:35", "11:50"),
    chore(ChoreKind.MIST, "C", "pergola", "15:45", "17:40"),
    chore(ChoreKind.STOP_WETTING, "A B", "pergola", None, "15:35"),
    chore(ChoreKind.SHADE, "A B", "pergola", None, "12:00"),
    chore(ChoreKind.SHADE, "C", "pergola", None, "14:00"),
)
EVENING = (
    chore(ChoreKind.CARRY_IN, "A", "sunroom", None, "17:25"),
    chore(ChoreKind.CARRY_IN, "B C", "back hall", None, "18:10"),
)
AT = utc("2026-10-07T07:00")
STANDING = dict.fromkeys("ABCD", "pergola")


@pytest.mark.parametrize(
    ("title", "body", "agrees"),
    [
        ("Mist 3 plants by 11:50", "Mist pergola 10:35-11:50: all but D (3)", True),
        ("Mist 4 plants by 11:50", "", False),
        ("Mist 3 plants by 11:50, 1 more later", "", False),
        ("", "Mist pergola 10:35-11:50: all but D (3); again 17:40", False),
        ("", "Mist pergola 10:35-11:50: A, C", False),
        ("", "Mist pergola 10:35-11:50: all 3", False),
        ("", "Mist by 11:50 pergola 3; some again later", True),
        ("", "Mist by 11:50 pergola 3; again by 17:40", False),
        ("", "Mist again pergola 15:45-17:40: C", True),
        ("", "Mist again pergola 15:45-17:40: B", False),
        ("", "Mist again by 17:40 pergola 1", True),
        ("", "Mist again by 17:40 pergola 2", False),
        ("", "Keep crowns dry after 15:35 pergola but C", True),
        ("", "Keep crowns dry after 15:35 pergola", False),
        ("", "Keep crowns dry after 15:40 pergola but C", False),
        ("", "Keep crowns dry after 15:35, of 1 plant after 17:40", True),
        ("", "Keep crowns dry after 15:35, of 1 plant later", True),
        ("", "Keep crowns dry after 15:35, of 2 plants later", False),
        ("", "Keep crowns dry after 15:35, of 1 plant after 18:00", False),
        ("", "Keep crowns dry after 15:35", False),
        ("Shade 2 plants by 12:00, 1 more later", "Shade pergola by 12:00: A, B", True),
        ("Shade 3 plants by 12:00", "", False),
        ("", "Shade by 12:00: pergola 3", False),
        ("", "Shade the pergola when you like", False),
    ],
)
def test_a_morning_push_that_contradicts_its_sheet_is_found(
    title: str, body: str, agrees: bool
) -> None:
    found = contradictions(title, body, MORNING, AT, STANDING)

    assert (found == []) is agrees, found


@pytest.mark.parametrize(
    ("title", "body", "agrees"),
    [
        ("Carry in 1 plant by 17:25, 2 more by 18:10", "17:25 pergola to sunroom: A", True),
        ("Carry in 3 plants by 17:25", "", False),
        ("Carry in 1 plant by 17:25, 2 more, the first by 18:10", "", False),
        ("Carry in 1 plant by 17:25, 2 more by 18:40", "", False),
        ("Carry in 1 plant now, 2 more by 18:10", "", False),
        ("", "17:25 pergola to sunroom: A; to back hall: 2 plants", False),
        ("", "18:10 pergola to back hall: B, C; not D", True),
        ("", "18:10 pergola to back hall: B, C; not A", False),
        ("", "18:10 pergola: 2 to back hall", True),
        ("", "17:25 pergola: 2 to back hall", False),
        ("", "18:10 pergola to back hall: A, B", False),
    ],
)
def test_an_evening_push_that_contradicts_its_sheet_is_found(
    title: str, body: str, agrees: bool
) -> None:
    found = contradictions(title, body, EVENING, AT, STANDING)

    assert (found == []) is agrees, found
