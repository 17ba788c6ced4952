"""What a command needs that shows something about a household and changes nothing.

At a pretended time, or with a recorded file, the ledger is left out: it is about another day.
"""

from collections.abc import Callable, Iterable, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from sillward.assembly import providers
from sillward.assembly.app import App
from sillward.errors import SillwardError, SourceError
from sillward.forecast.recorded import Recorded
from sillward.forecast.store import ForecastStore, credit
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.net import fetch
from sillward.net.http import Answer
from sillward.net.progress import patient
from sillward.readings.lessons import Lessons
from sillward.readings.read_nights import ReadNights
from sillward.readings.spot_lesson import Lesson
from sillward.service import due_rounds
from sillward.service.damage_questions import with_damage_questions
from sillward.service.plant_states import states_at
from sillward.service.season_memory import with_season
from sillward.wording import full_sheet
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import State
from sillward_rules.remark import ForecastInstead
from sillward_rules.sheet import Round, Sheet, draw_up
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site


def forecast_updater(
    app: App,
    ledger: Ledger,
    sites: Sequence[Site] = (),
    *,
    collections: Callable[[], Iterable[Collection]] | None = None,
    show_progress: bool = False,
    step_done: Callable[[], None] = lambda: None,
) -> ForecastUpdater:
    """Build the forecast updater for these sites; by default for the household's.

    collections: returns the collections that are in force; by default the household's.
    show_progress: say on a terminal which source is asked, when that takes long.
    step_done: called after each call.
    """
    first = app.sources[0]
    is_recorded = isinstance(first, Recorded)
    ask: Callable[..., Answer] = first.ask if isinstance(first, Recorded) else fetch.ask
    return ForecastUpdater(
        store_of(app, ledger, collections or (lambda: (app.household.collection,))),
        sites or (app.site,),
        ask=patient(ask) if show_progress else ask,
        live=not is_recorded,
        pretending=app.pretending,
        step_done=step_done,
    )


def store_of(
    app: App, ledger: Ledger, collections: Callable[[], Iterable[Collection]]
) -> ForecastStore:
    """Build the forecast store of a household.

    collections: returns the collections that are in force.
    """
    read_nights = ReadNights(ledger, collections)
    if isinstance(app.sources[0], Recorded):
        return ForecastStore(app.sources, ledger, app.clock, read_nights=read_nights)
    return ForecastStore(
        app.sources,
        ledger,
        app.clock,
        providers.forecast_ensemble(app.settings),
        app.settings.forecast.second_opinion,
        read_nights,
        shares_cells=app.place is not None,
    )


def with_readings(app: App) -> App:
    """Return the app with what readings have taught about the spots of its household."""
    with closing(ledger_to_read(app)) as ledger:
        lessons = Lessons(ledger, forecast_updater(app, ledger).store)
        collection = lessons.applied(app.household.collection, app.clock())
    return replace(app, household=replace(app.household, collection=collection))


def lessons_of_spots(app: App) -> dict[str, Lesson]:
    """Return what the readings of each outdoor spot teach that has any."""
    with closing(ledger_to_read(app)) as ledger:
        lessons = Lessons(ledger, forecast_updater(app, ledger).store)
        return lessons.of_spots(app.household.collection, app.clock())


def fetched_weather(app: App, now: datetime) -> Weather:
    """Return a forecast: the recorded file's, else the network's, else the last good one.

    Raise SourceError if none of them has one.
    """
    with closing(ledger_to_read(app)) as ledger:
        updater = forecast_updater(replace(app, clock=lambda: now), ledger, show_progress=True)
        try:
            updater.fetch_now()
        except SourceError as error:
            best = updater.store.best(app.site)
            if best is None:
                raise
            fetched = best.saved.fetched_at.astimezone(app.site.zone)
            weather = updater.store.weather(app.site)
            note = ForecastInstead(str(error), fetched)
            return replace(weather, remarks=(note, *weather.remarks))
        return updater.store.weather(app.site)


def attribution(app: App, weather: Weather) -> str:
    """Return the credit that is due for a weather."""
    return credit(app.sources, weather.source)


def ledger_to_read(app: App) -> Ledger:
    """Open the ledger, if there is one and nothing is pretended; else an empty one."""
    return _ledger(app, real=not app.pretending)


def ledger_of_forecasts(app: App) -> Ledger:
    """Open the ledger, if there is one, to see its forecasts; an empty one with a recorded file."""
    return _ledger(app, real=app.options.recorded is None)


def _ledger(app: App, *, real: bool) -> Ledger:
    return app.open_ledger() if real and app.has_ledger else Ledger(IN_MEMORY)


def stored_states(app: App) -> State:
    """Return what the ledger knows of the plants; nothing if anything is pretended."""
    if app.pretending or not app.has_ledger:
        return {}
    with closing(app.open_ledger()) as ledger:
        return states_at(ledger, app.site, app.clock())


def with_what_is_kept(app: App, sheet: Sheet) -> Sheet:
    """Return a sheet with what the ledger keeps besides the plants' states.

    Of a week that is what past years say and the limits that are proposed, of a morning the cold
    nights that are asked about.
    """
    with closing(ledger_to_read(app)) as ledger:
        sheet = with_season(sheet, app.household.collection, ledger)
        return with_damage_questions(sheet, app.household.collection, ledger)


def stored_sheet(app: App, now: datetime) -> str | None:
    """Return the full sheet of the round nearest in time, by the forecast that is saved.

    No source is asked and nothing is written. Return None if there is no forecast to use.
    """
    if not app.has_ledger:
        return None
    try:
        with closing(app.open_ledger()) as ledger:
            updater = forecast_updater(app, ledger)
            if not updater.store.is_usable(app.site):
                return None
            weather = updater.store.weather(app.site)
            states = states_at(ledger, app.site, now)
            lessons = Lessons(ledger, updater.store)
            collection = lessons.applied(app.household.collection, now)
    except SillwardError:
        return None
    round_ = due_rounds.nearest(app.site, now)
    sheet = with_what_is_kept(app, draw_up(round_, collection, weather, states, now))
    return full_sheet.text(sheet, app.household.voice, attribution(app, weather))


def moment_to_show(app: App, round_: Round | None) -> tuple[datetime, bool]:
    """Return the moment to show, and whether it was taken from a recorded file.

    The moment is that of --at, else now. A recorded file of other days, without --at, is shown
    on the day it was recorded, at the hour of the round.
    """
    now = app.clock()
    if app.options.at is not None or app.options.recorded is None:
        return now, False
    weather = fetched_weather(app, now)
    first, last = (datetime.fromtimestamp(int(weather.times[i]), UTC) for i in (0, -1))
    if first + timedelta(days=1) <= now <= last:
        return now, False
    day = app.site.local_date(first + timedelta(days=1, hours=12))
    that_day = due_rounds.of_day(app.site, app.household.rounds, day)
    moments = {occasion.round: occasion.due_at for occasion in that_day}
    return moments.get(round_ or Round.DUSK, moments[Round.DUSK]), True
