"""The sheet of a round: what to do, why, and what to beware of. Data only; wording is the shell's.

draw_up(round, collection, weather, state, now) -> Sheet        next_state(state, sheet)
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from enum import Enum

from sillward_rules import sun
from sillward_rules.chore import Chore, ChoreKind, in_order, into_chores
from sillward_rules.collection import Collection, PlantState, State
from sillward_rules.planners import carry, mist, note, outlook, shelter, wetting
from sillward_rules.planners.nights import STALE, judge_night
from sillward_rules.planners.outlook import Outlook
from sillward_rules.scene import Scene
from sillward_rules.site import Site
from sillward_rules.weather import Weather

OLD = timedelta(hours=6)
"""A forecast older than this is named as old in the notice. Judgement: two missed model runs."""


class Round(Enum):
    """An occasion on which the grower is told."""

    DUSK = "dusk"
    MORNING = "morning"
    WEEK = "week"


@dataclass(frozen=True, slots=True)
class Sheet:
    """The chores of a round at a moment, with what they rest on.

    chores are in the order of their deadlines. warnings are for the grower, most urgent first;
    assumptions are what the collection leaves open. states is the completed state that was used.
    """

    round: Round
    at: datetime
    site: str
    source: str
    fetched_at: datetime
    issued_at: datetime | None
    chores: tuple[Chore, ...]
    warnings: tuple[str, ...]
    assumptions: tuple[str, ...]
    outlook: Outlook | None
    lows: dict[str, float | None]
    """Lowest leaf temperature at each outdoor home in the night at or after the moment [°C]."""
    states: dict[str, PlantState] = field(default_factory=dict)

    @property
    def age(self) -> timedelta:
        """How old the forecast was."""
        return self.at - (self.issued_at or self.fetched_at)


def draw_up(
    round_: Round, collection: Collection, weather: Weather, state: State, now: datetime
) -> Sheet:
    """Work out the sheet of a round. Pure: the same arguments give the same sheet."""
    scene = Scene(collection, weather, state, now)
    if round_ is Round.DUSK:
        chores, warnings, ahead = *_dusk(scene), None
    elif round_ is Round.MORNING:
        chores, warnings, ahead = *_morning(scene), None
    else:
        chores, warnings, ahead = _week(scene)
    used = {spot for plant in collection.plants for spot in (plant.home, plant.shelter)}
    assumptions = [
        f"{spot.name}: {question}"
        for spot in collection.spots
        if spot.name in used
        for question in spot.open_questions()
    ]
    return Sheet(
        round=round_,
        at=now,
        site=collection.site.name,
        source=weather.source,
        fetched_at=weather.fetched_at,
        issued_at=weather.issued_at,
        chores=chores,
        warnings=(*_coverage_warnings(scene), *warnings, *weather.remarks),
        assumptions=tuple(assumptions),
        outlook=ahead,
        lows=_outdoor_lows(scene),
        states=scene.state,
    )


def next_state(state: State, sheet: Sheet) -> dict[str, PlantState]:
    """State after a round has been told: where nobody says otherwise, the advice was followed."""
    # What was known wins: the sheet's states leave out moves that lie ahead.
    after = {**sheet.states, **state}
    for chore in sheet.chores:
        if (sheet.round, chore.kind) in _MOVES:
            after |= {name: moved(after[name], chore, assumed=True) for name in chore.plants}
    return after


# What each round orders for now; what it says of tomorrow moves nothing yet.
_MOVES = frozenset(
    {
        (Round.DUSK, ChoreKind.CARRY_IN),
        (Round.MORNING, ChoreKind.CARRY_IN),
        (Round.MORNING, ChoreKind.CARRY_OUT),
    }
)


def moved(state: PlantState, chore: Chore, *, assumed: bool) -> PlantState:
    """The state of a plant once a carry chore is done."""
    since = chore.not_before or chore.before
    came_from = chore.from_spot if assumed else None
    return replace(state, spot=chore.to_spot, since=since, assumed=assumed, came_from=came_from)


def acknowledged(state: PlantState, kind: ChoreKind, to_spot: str, now: datetime) -> PlantState:
    """The state of a plant once the grower says that a chore is done."""
    if kind in (ChoreKind.CARRY_IN, ChoreKind.CARRY_OUT, ChoreKind.STAY_IN):
        return replace(state, spot=to_spot, since=now, assumed=False, came_from=None)
    if kind is ChoreKind.MIST:
        return replace(state, misted_at=now)
    if kind is ChoreKind.FEED:
        return replace(state, fed_at=now)
    return state


def believed(state: State, site: Site, now: datetime) -> State:
    """What to believe in the afternoon of a day whose morning round reached nobody.

    A plant that is only assumed to stand where it was put before that morning may have been
    taken out since: it has no history then, and so it is told to go in.
    """
    day = sun.night_at_or_after(site, now).day
    if now < site.middle_of_day(day):
        return state
    sunrise = sun.day_events(site, day).sunrise
    return {
        name: one
        for name, one in state.items()
        if not one.assumed or one.since is None or one.since > sunrise
    }


def _outdoor_lows(scene: Scene) -> dict[str, float | None]:
    night = sun.night_at_or_after(scene.site, scene.now)
    homes = {plant.home for plant in scene.plants}
    return {
        name: low
        for name, low in shelter.spot_lows(scene, night).items()
        if name in homes and not scene.collection.spot(name).holds_itself
    }


def _coverage_warnings(scene: Scene) -> list[str]:
    """What the forecast as a whole cannot tell: too old, or for other days."""
    times, now = scene.weather.times, scene.now.timestamp()
    if not times.size or not times[0] <= now <= times[-1]:
        return ["the forecast does not reach this hour: what is not known is treated as cold"]
    age = scene.weather.age(scene.now)
    hours = age / timedelta(hours=1)
    if age > STALE:
        return [f"the forecast is {hours:.0f} h old: too old to judge a night, treated as cold"]
    if age > OLD:
        return [f"the forecast is {hours:.0f} h old"]
    return []


def _dusk(scene: Scene) -> tuple[tuple[Chore, ...], list[str]]:
    """Tonight: what goes in before when, and from when on it may go out again tomorrow."""
    night = sun.night_at_or_after(scene.site, scene.now)
    verdicts = judge_night(scene, night)
    lows = shelter.spot_lows(scene, night)
    tonight = carry.carry_in(scene, night, verdicts, lows, scene.standing)
    sheltered = {errand.plant: errand.to_spot for errand in tonight}
    tomorrow = night.day + timedelta(days=1)
    again = carry.carry_out(scene, tomorrow, sheltered)
    chores = into_chores(tonight, scene.site, night.day, scene.now)
    chores += into_chores(again, scene.site, tomorrow, scene.now)
    return chores, [
        *carry.night_warnings(lows, verdicts, {**scene.standing, **sheltered}),
        *note.notes(scene, scene.now, night.end),
    ]


def _morning(scene: Scene) -> tuple[tuple[Chore, ...], list[str]]:
    """Today: what goes out and when, mist and feed windows, the last wetting hour.

    Also what must go in before the dusk round could say so.
    """
    day = scene.site.local_date(scene.now)
    night = sun.night_of(scene.site, day)
    sheltered = {
        plant.name: scene.standing[plant.name] for plant in scene.plants if scene.under_cover(plant)
    }
    out = into_chores(carry.carry_out(scene, day, sheltered), scene.site, day, scene.now)
    early = [
        verdict
        for verdict in judge_night(scene, night)
        if verdict.deadline < night.start - BEFORE_DUSK and verdict.plant.name not in sheltered
    ]
    lows = shelter.spot_lows(scene, night)
    back = carry.carry_in(scene, night, early, lows, scene.standing)
    leaving = {verdict.plant.name: verdict.deadline for verdict in early}
    places = mist.day_places(scene, day, out, scene.standing, leaving)
    watering, warnings = _watering(scene, day, places)
    chores = [*out, *into_chores(back, scene.site, day, scene.now), *watering]
    return in_order(chores), [*warnings, *note.notes(scene, scene.now, night.start)]


def _watering(
    scene: Scene, day: date, places: Sequence[mist.DayPlace]
) -> tuple[list[Chore], list[str]]:
    """Misting, feeding, and until when crowns may be wet."""
    sunrise = sun.day_events(scene.site, day).sunrise
    films = {
        column: wetting.DayFilms(scene, day, column)
        for column in {place.column for place in places}
    }
    wet = mist.mist(scene, day, places, films)
    misted = {errand.plant for errand in wet}
    outdoors = [place for place in places if not scene.collection.spot(place.spot).holds_itself]
    dry = [
        errand
        for place in outdoors
        if (place.plant.rot == "high" or place.plant.name in misted)
        and place.plant.rot != "low"
        and (errand := wetting.stop_wetting(films[place.column], place.plant, place.spot))
        and (errand.before > scene.now or errand.before <= sunrise)
    ]
    mistings = [errand for errand in wet if errand.kind is ChoreKind.MIST]
    chores = into_chores([*mistings, *dry], scene.site, day, scene.now)
    feeds = mist.feeds_within(chores, [one for one in wet if one.kind is ChoreKind.FEED])
    chores += into_chores(feeds, scene.site, day, scene.now)
    if all(films[place.column].known for place in outdoors):
        return list(chores), []
    return list(chores), ["too little is known of today's weather to plan all watering"]


BEFORE_DUSK = timedelta(minutes=90)
"""What must go in earlier than this before sunset is told in the morning: the dusk round, at its
usual hour, would come too late."""


def _week(scene: Scene) -> tuple[tuple[Chore, ...], list[str], Outlook]:
    """The nights and days ahead."""
    ahead = outlook.look_ahead(scene)
    return ahead.chores, list(ahead.warnings), ahead
