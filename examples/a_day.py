"""One day of one plant, from the core alone: no forecast, no daemon, no collection file.

The weather is invented: a clear autumn day in the courtyard of courtyard.toml. What the air
becomes at the pergola, what a basket of strap-leaf orchids minds of it, and in which hours a
misting would last are then the core's to say. In a notebook, import this and look at
`plot(worked_out())`, then try another spot or another plant; or let

    python examples/a_day.py a_day.png

draw the picture and print the numbers. It needs matplotlib beside what the core needs.
"""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

from sillward_rules import (
    Climate,
    Limit,
    Limits,
    Plant,
    Site,
    Spot,
    SunWindow,
    Weather,
    climate_of,
    standard_groups,
)
from sillward_rules.arrays import Array
from sillward_rules.physics.water_film import (
    LEAF_FILM,
    VELAMEN_FILM,
    Film,
    drying_times,
    evaporation,
)
from sillward_rules.plants.limits import overridden, tenderest
from sillward_rules.weather import sun
from sillward_rules.weather.climate import film_air
from sillward_rules.weather.light import daily_light_integral

COURTYARD = Site("Courtyard", -32.89, -68.85, 780.0, ZoneInfo("America/Argentina/Mendoza"))

PERGOLA = Spot(
    "pergola",
    sky_view=0.5,
    wind=0.35,
    shade=0.4,
    rain=1.0,
    sun_windows=(SunWindow(270.0, 90.0, above=20.0),),  # over north, as the sun goes here
    night_offset_k=0.8,  # ends at sunrise: the dip of the curves at that hour
    day_offset_k=0.0,
)

PARENTS = ("vanda strap-leaf", "aerides")
STRAP_LEAF = Plant(
    "Strap-leaf by the door",
    home="pergola",
    shelter=None,
    holder="basket",
    limits=overridden(
        tenderest([standard_groups()[name].limits for name in PARENTS]),
        Limits(night_low=Limit(13.0, "learned the hard way")),
    ),
    groups=PARENTS,
    velamen=True,
)

DAY = date(2026, 4, 14)
UPTAKE_MIN = {LEAF_FILM.name: 45.0, VELAMEN_FILM.name: 15.0}
"""How long water must stay to be taken up [min]: the defaults of a collection's habits."""

STEP_S = 300
"""Step of the film's day [s]."""


def invented(site: Site, day: date) -> Weather:
    """Invented weather from the day before to the day after: clear, dry, a light wind by day.

    Coldest at sunrise, warmest at half past three, and cooling ever slower through the night.
    """
    first = int(site.at_clock(day - timedelta(days=1), time(0)).timestamp())
    times = first + 3600 * np.arange(72, dtype=np.int64)
    clock = np.arange(72) % 24.0  # at the site

    def swing(at: float) -> Array:
        return np.asarray(np.cos(2 * np.pi * (clock - at) / 24))

    since_rise = (clock - 8.0) % 24
    rising = np.sin(np.pi / 2 * np.minimum(since_rise / 7.5, 1.0)) ** 2
    cooling = (np.exp(-(since_rise - 7.5) / 7.0) - np.exp(-16.5 / 7.0)) / (1 - np.exp(-16.5 / 7.0))
    # The light of an hour is that of its middle; on the level, under a sky without clouds.
    height = np.sin(np.radians(sun.positions(site, times - 1800)[1]))
    height = np.maximum(height, 0.0)
    nothing = np.zeros(72)
    return Weather(
        times=times,
        temp_c=10.0 + 15.5 * np.where(since_rise < 7.5, rising, cooling),
        dew_point_c=6.0 + 1.0 * swing(10.0),
        wind_m_s=1.6 + 1.0 * swing(16.0),
        gust_m_s=3.2 + 2.0 * swing(16.0),
        cloud=nothing,
        rain_mm=nothing,
        direct_w_m2=930.0 * height**1.2,
        diffuse_w_m2=85.0 * height**0.5,
        hail_pct=nothing,
        source="invented",
        fetched_at=site.at_clock(day, time(0)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Day:
    """What a plant goes through on one local day, midnight to midnight.

    hours : mask of the climate's times (time,). film_times : unix seconds (step,).
    film_min : life of a film put on at each of them [min], by the film's name; infinite where it
    outlasts the weather.
    """

    plant: Plant
    climate: Climate
    column: int
    day: date
    sunrise: datetime
    sunset: datetime
    hours: np.ndarray
    film_times: np.ndarray
    film_min: dict[str, Array]

    def series(self, name: str) -> Array:
        """A series of the climate at the plant's spot in the hours of the day."""
        values: Array = getattr(self.climate, name)[self.hours, self.column]
        return values


def worked_out(
    plant: Plant = STRAP_LEAF, site: Site = COURTYARD, spot: Spot = PERGOLA, day: date = DAY
) -> Day:
    """The climate of the plant's spot, and how long films last there."""
    climate = climate_of(site, [spot], invented(site, day))
    column = climate.column(plant.home)
    start, end = (site.at_clock(day + timedelta(days=n), time(0)).timestamp() for n in (0, 1))
    # Films are followed to the end of the weather; the last hours of the day need it.
    steps = np.arange(start, float(climate.times[-1]), STEP_S)
    air = film_air(climate, steps + STEP_S / 2)
    of_day = steps <= end

    def life_min(film: Film) -> Array:
        rate = evaporation(air, film.shape)[:, column]
        return 60.0 * drying_times(rate, STEP_S / 3600, film.depth_mm)[of_day]

    events = sun.day_events(site, day)
    return Day(
        plant=plant,
        climate=climate,
        column=column,
        day=day,
        sunrise=events.sunrise.astimezone(site.zone),
        sunset=events.sunset.astimezone(site.zone),
        hours=(climate.times >= start) & (climate.times <= end),
        film_times=steps[of_day],
        film_min={film.name: life_min(film) for film in (LEAF_FILM, VELAMEN_FILM)},
    )


def summary(made: Day) -> str:
    """The day in one line."""
    limits = made.plant.limits
    # The first of the hours is midnight, and its light that of the day before.
    dli = float(daily_light_integral(made.series("light_w_m2")[1:]))
    return (
        f"{made.day} {made.plant.home}: air {made.series('temp_c').min():.1f} to "
        f"{made.series('temp_c').max():.1f} °C, leaf down to {made.series('leaf_c').min():.1f} °C "
        f"({_told(limits.night_low)}), VPD up to {made.series('vpd_kpa').max():.2f} kPa "
        f"({_told(limits.vpd_high)}), light up to {made.series('ppfd').max():.0f} "
        f"umol m-2 s-1, {dli:.1f} mol/d; {_dries_soon(made)}"
    )


def _told(limit: Limit | None) -> str:
    return "no limit" if limit is None else f"limit {limit.value:g}"


def _dries_soon(made: Day) -> str:
    """In which hours by day a leaf is dry again before it has taken up."""
    uptake = UPTAKE_MIN[LEAF_FILM.name]
    by_day = (made.sunrise.timestamp() <= made.film_times) & (
        made.film_times < made.sunset.timestamp()
    )
    soon = made.film_times[by_day & (made.film_min[LEAF_FILM.name] < uptake)]
    if not soon.size:
        return f"a film on a leaf lasts {uptake:g} min all day"
    zone = made.sunrise.tzinfo
    first, last = (datetime.fromtimestamp(float(second), zone) for second in (soon[0], soon[-1]))
    return (
        f"by day a film on a leaf lasts less than {uptake:g} min from {first:%H:%M} to {last:%H:%M}"
    )


INK, SOFT, WARN = "#16324f", "#d9822b", "#9b1c31"
"""Dark, light and middle in grey too; the dashes tell them apart once more."""


def plot(made: Day) -> Figure:
    """Temperature, deficit, light and film life over the day, one above the other."""
    figure = Figure(figsize=(10, 10), dpi=100, layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(4, 1, sharex=True, height_ratios=[1.25, 1, 1, 1.25])
    midnight = made.film_times[0]

    def clock(unix_seconds: ArrayLike) -> Array:
        return np.asarray((np.asarray(unix_seconds) - midnight) / 3600)

    hours, steps = clock(made.climate.times[made.hours]), clock(made.film_times)
    sunrise, sunset = clock([made.sunrise.timestamp(), made.sunset.timestamp()])
    warmth, deficit, light, film = panels

    limits = made.plant.limits
    warmth.plot(hours, made.series("temp_c"), color=INK, label="air")
    warmth.plot(hours, made.series("leaf_c"), color=SOFT, ls="--", label="leaf")
    _bound(warmth, limits.night_low, "night limit {:g} °C")
    warmth.set_ylabel("temperature [°C]")

    deficit.plot(hours, made.series("vpd_kpa"), color=INK, label="VPD of the air")
    _bound(deficit, limits.vpd_high, "limit {:g} kPa")
    deficit.set_ylabel("deficit [kPa]")
    deficit.set_ylim(bottom=0)

    # A value is the mean of the hour that ends at its time.
    light.plot(hours, made.series("ppfd"), color=INK, drawstyle="steps-pre", label="PPFD")
    _bound(light, limits.light_low, "wanted at noon {:g}")
    light.set_ylabel("light\n[µmol m⁻² s⁻¹]")
    light.set_ylim(bottom=0)

    film.plot(steps, made.film_min["leaf"], color=INK, label="film on a leaf")
    film.plot(steps, made.film_min["velamen"], color=SOFT, ls="--", label="water in velamen")
    film.axhline(UPTAKE_MIN["leaf"], color=INK, ls=":", label="uptake, leaf 45 min")
    film.axhline(UPTAKE_MIN["velamen"], color=SOFT, ls=":", label="uptake, velamen 15 min")
    film.set_yscale("log")
    ticks = [15, 45, 120, 360]
    film.set_yticks(ticks, [str(tick) for tick in ticks])
    film.set_yticks([], minor=True)
    film.set_ylim(8, 480)
    film.set_ylabel("life of a film\n[min]")

    for panel in panels:
        panel.axvspan(0, sunrise, color="0.91", lw=0, zorder=0)
        panel.axvspan(sunset, hours[-1], color="0.91", lw=0, zorder=0)
        panel.grid(axis="y", color="0.8", lw=0.6)
        panel.set_axisbelow(True)
        panel.spines[["top", "right"]].set_visible(False)
        # Above the panel, where no curve can be.
        panel.legend(loc="lower right", bbox_to_anchor=(1, 1), ncols=4, frameon=False, fontsize=10)
    film.set_xticks(range(0, 25, 3))
    film.set_xlim(0, hours[-1])
    film.set_xlabel("hours since local midnight [h]; the night is grey")
    figure.align_ylabels(panels)
    figure.suptitle(f"{made.plant.name}, {made.plant.home}, {made.day:%d %B %Y}", fontsize=13)
    return figure


def _bound(panel: Axes, limit: Limit | None, text: str) -> None:
    if limit is not None:
        panel.axhline(limit.value, color=WARN, ls=":", lw=1.8, label=text.format(limit.value))


def main(arguments: Sequence[str]) -> None:
    """Draw the day into the file that is named, or a_day.png."""
    made = worked_out()
    plot(made).savefig(Path(arguments[0] if arguments else "a_day.png"), format="png")
    sys.stdout.write(summary(made) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
