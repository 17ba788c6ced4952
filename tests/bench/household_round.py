"""A household's round: 40 plants in a warm daemon, from the forecast to the notice in the ledger.

    python -m tests.bench.household_round [--households 8] [--profile dusk [--ticks]]

What is timed is the processor time of working a round out, wording it and writing it down, on a
ledger in a file; and, of other households, the whole tick of the desk in which that happens, with
the forecast read and all that a desk looks at besides. Every household has plants, pots, a place
and a forecast of its own, so that nothing is kept from one for another; the first ones, which
import and compile, are left out.
Orders are not confirmed, as on most days. The figure is the median of the households; exit status
1 if a goal is missed.
"""

import argparse
import cProfile
import gc
import pstats
import random
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date, timedelta
from pathlib import Path

from sillward.config.household import Household
from sillward.config.loader import load_household
from sillward.forecast.source import SourceOptions
from sillward.forecast.sources import open_meteo
from sillward.forecast.store import ForecastStore
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import CallSchedule, Ledger, SavedForecast
from sillward.net.http import Answer
from sillward.service import due_rounds
from sillward.service.context import ServiceContext
from sillward.service.desk import Desk
from sillward.service.due_rounds import Occasion
from sillward_rules.sheet import Round, Sheet
from sillward_rules.weather.site import Site
from tests.bench.table import Row, report
from tests.support.bodies import dumped
from tests.support.desks import Post, a_channel
from tests.support.fakes import FakeClock
from tests.support.invented_weather import Sky

GOAL_MS = 10.0
"""Of a round of any kind."""

FIRST, DAYS = date(2026, 4, 2), 4
"""A Thursday of a southern autumn, and how many days are told: dry, warm by day, cold by night."""

SKY = Sky([(11.0, 27.0), (8.0, 25.0), (9.5, 26.0), (6.0, 22.0)], dew_c=3.0, wind_m_s=2.0)

PLACE = """
[site]
name = "Court {number}"
latitude = {latitude}
longitude = -68.85
elevation = 780
zone = "America/Argentina/Mendoza"

[spots.pergola]
sky_view = 0.5
wind = 0.35
shade = 0.4
sun = [{{ from = 270, to = 90, above = 20 }}]
rain = 1.0
night_offset = 0.8
day_offset = 0.0

[spots."wall bench"]
sky_view = 0.3
wind = 0.25
sun = [{{ from = 290, to = 70, above = 15 }}]
rain = 0.3
night_offset = 1.5
day_offset = 0.5

[spots.sunroom]
indoors = true
night_low = 14
day_low = 18
humidity = 55

[spots."back hall"]
indoors = true
night_low = 8
day_low = 12
humidity = 60

[water]
ec = 0.62
alkalinity = 150
ph = 7.6
rain = 0.75
aim_ph = 5.8

[feed]
npk = "20-20-20"
ppm_n = 50
ec_per_100_ppm_n = 0.4
litres = 1.5
"""

HUNG = ("cattleya", "brassavola", "oncidium", "vanda strap-leaf", "laelia mexican", "encyclia")
POTTED = ("cymbidium", "citrus tender", "hibiscus", "plumeria", "bougainvillea", "fuchsia", "aloe")
"""Culture groups of what hangs in baskets or on mounts, and of what stands in pots."""

PLANTS = 40


def household(number: int, folder: Path) -> Household:
    """One of the neighbours, by its collection file: half of its plants hang, half are in pots."""
    chance = random.Random(number)
    text = [PLACE.format(number=number, latitude=-32.89 + 0.01 * number)]
    for plant in range(PLANTS):
        hangs = plant % 2 == 0
        group = chance.choice(HUNG if hangs else POTTED)
        holder = chance.choice(("basket", "mount")) if hangs else "pot"
        home, shelter = chance.choice(
            (("pergola", "sunroom"), ("wall bench", "back hall"), ("wall bench", "sunroom"))
        )
        text.append(
            f'[[plants]]\nname = "{group} {plant}"\ngroup = "{group}"\nholder = "{holder}"\n'
            f'home = "{home}"\nshelter = "{shelter}"'
        )
        if not hangs:
            litres, medium = chance.choice((2, 5, 10)), chance.choice(("peat", "bark", "mineral"))
            text.append(f'pot = {{ litres = {litres}, medium = "{medium}" }}\nspan = 40')
        if chance.random() < 0.1:
            text.append(f"limits.night_low = {chance.randint(16, 30) / 2}")
    path = folder / f"{number}.toml"
    path.write_text("\n".join(text), encoding="utf-8")
    return replace(load_household(path), channels=(a_channel(),))


class _AskNobody(ForecastUpdater):
    """The forecasts of these households are put into their ledgers: none is asked for."""

    def refresh_due(self, *needed: Site) -> None:
        """Ask nobody, whatever is due."""


@dataclass(frozen=True)
class Neighbour:
    """A household's desk, and the clock it goes by."""

    desk: Desk
    clock: FakeClock

    @classmethod
    def moved_in(cls, number: int, folder: Path) -> "Neighbour":
        """One with a ledger of its own in this folder."""
        made = household(number, folder)
        site = made.collection.site
        clock = FakeClock(made.rounds.morning.on(site, FIRST))
        ledger = Ledger(folder / f"{number}.sqlite3", clock=clock)
        source = open_meteo.build(SourceOptions())
        ledger.call_schedules.keep(source.name, CallSchedule(clock() + timedelta(days=30)))
        updater = _AskNobody(
            ForecastStore([source], ledger, clock), [site], ask=_no_network, rng=random.Random(3)
        )
        return cls(Desk.of(ServiceContext(made, updater, ledger, Post(), clock)), clock)

    def occasions(self) -> list[Occasion]:
        """The rounds of all days, in their order."""
        context = self.desk.context
        return sorted(
            (
                occasion
                for day in range(DAYS)
                for occasion in due_rounds.of_day(
                    context.site, context.household.rounds, FIRST + timedelta(days=day)
                )
            ),
            key=lambda occasion: occasion.due_at,
        )

    def tell(self, occasion: Occasion, profiler: cProfile.Profile | None = None) -> float:
        """Tell a round on a new forecast. Return the processor time [s]."""
        self._receive_forecast(occasion)
        self.desk.context.weather()  # reading it belongs to fetching it
        sheets = list[Sheet | None]()
        taken = _timed(lambda: sheets.append(self.desk.tell(occasion)), profiler)
        (sheet,) = sheets
        if sheet is None or (occasion.round is Round.DUSK and not sheet.chores):
            msg = f"{occasion.round.value} of {occasion.day}: nothing was told"
            raise RuntimeError(msg)
        return taken

    def tick(self, occasion: Occasion, profiler: cProfile.Profile | None = None) -> float:
        """Do all of a tick that tells a round on a new forecast. Return the processor time [s]."""
        self._receive_forecast(occasion)
        taken = _timed(self.desk.tick, profiler)
        context = self.desk.context
        told = context.ledger.rounds.enqueued_at(
            context.site.name, occasion.round.value, occasion.day
        )
        if told is None:
            msg = f"{occasion.round.value} of {occasion.day}: nothing was told by the tick"
            raise RuntimeError(msg)
        return taken

    def _receive_forecast(self, occasion: Occasion) -> None:
        """Set the clock to the hour of a round, and keep a new forecast in the ledger."""
        self.clock.now = occasion.due_at
        context, now = self.desk.context, self.clock()
        body = dumped(SKY.body(context.site, FIRST, now, edition=1 + occasion.day.day))
        source = context.updater.store.sources[0].name
        context.ledger.forecasts.keep(context.site.name, SavedForecast(source, now, now, body))


def _timed(work: Callable[[], object], profiler: cProfile.Profile | None) -> float:
    """Return the processor time of some work [s]."""
    if profiler is not None:
        profiler.enable()
    start = time.process_time()
    work()
    taken = time.process_time() - start
    if profiler is not None:
        profiler.disable()
    return taken


def _no_network(*_: object, **__: object) -> Answer:
    msg = "nobody is asked"
    raise AssertionError(msg)


def main() -> int:
    """Tell the rounds of all; print the table; return the exit status."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--households", type=int, default=8)
    parser.add_argument("--profile", choices=[round_.value for round_ in Round])
    parser.add_argument("--ticks", action="store_true", help="profile whole ticks")
    options = parser.parse_args()
    profiler = cProfile.Profile()
    rounds: dict[Round, list[float]] = {round_: [] for round_ in Round}
    ticks: dict[Round, list[float]] = {round_: [] for round_ in Round}
    with tempfile.TemporaryDirectory() as folder:
        for number in range(2 * (1 + options.households)):
            neighbour, whole_tick = Neighbour.moved_in(number, Path(folder)), bool(number % 2)
            taken, work = (ticks, neighbour.tick) if whole_tick else (rounds, neighbour.tell)
            gc.collect()
            for occasion in neighbour.occasions():
                profiled = number > 1 and whole_tick == options.ticks
                profiled &= occasion.round.value == options.profile
                seconds = work(occasion, profiler if profiled else None)
                if number > 1:  # the first of each imports and compiles
                    taken[occasion.round].append(seconds)
            neighbour.desk.context.ledger.close()
    if options.profile:
        pstats.Stats(profiler).sort_stats("cumulative").print_stats(60)
        return 0
    rows = [
        Row(f"a {round_.value}", statistics.median(seconds) * 1e3, "ms", at_most=GOAL_MS)
        for round_, seconds in rounds.items()
    ]
    rows += [
        Row(f"the whole tick of a {round_.value}", statistics.median(seconds) * 1e3, "ms")
        for round_, seconds in ticks.items()
    ]
    return report(f"A round of {PLANTS} plants, {options.households} households", rows)


if __name__ == "__main__":
    sys.exit(main())
