"""`sillward chart`: draw the nights ahead, the water, or what was read."""

import re
from collections import Counter
from datetime import datetime
from pathlib import Path

import click

from sillward.assembly import read_only
from sillward.assembly.app import App, Options
from sillward.charts.data import (
    KINDS,
    SPOT_KINDS,
    ChartData,
    Kind,
    SpotChart,
    SpotKind,
    chart_of,
    correction_chart,
    document,
    made_line,
    readings_chart,
)
from sillward.cli import completion, shared
from sillward.cli.pictures import form_of, write_picture
from sillward.cli.printing import print_json
from sillward.errors import ChartError, UsageError, listed
from sillward_rules.plants.plant import Plant


@click.command()
@click.argument("words", nargs=-1, metavar="[SPOT|PLANT]", shell_complete=completion.plants)
@shared.options()
@click.option(
    "--kind", type=click.Choice((*KINDS, *SPOT_KINDS)), default="night", help="Default: night."
)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE.png|.svg",
    help="Default: SPOT-night.png or the like, in this folder.",
)
def chart(
    options: Options, as_json: bool, words: tuple[str, ...], kind: Kind | SpotKind, out: Path | None
) -> None:
    """Draw a chart of a SPOT, or of a PLANT at its home.

    It shows the nights ahead, the day's water, the last nights as they were forecast and read,
    or the correction learned from them. Without a name it is the outdoor spot where most plants
    live.
    """
    form, name = form_of(out, "--out"), " ".join(words) or None
    app = shared.build(options)
    app, now = shared.at_moment(app, None)
    data: ChartData | SpotChart
    if kind == "night" or kind == "water":
        data = _chart_of_forecast(app, name, kind, now)
    else:
        data = _chart_of_readings(app, name, kind, now)
    if as_json:
        print_json(document(data))
        return
    place = data.spot if isinstance(data, SpotChart) else data.plant or data.spot
    file = out or Path(f"{_file_name(place)}-{kind}.{form}")
    write_picture(file, data, form)
    click.echo(f"{file}: {data.title}; {data.subtitle}")


def _chart_of_forecast(app: App, name: str | None, kind: Kind, now: datetime) -> ChartData:
    app = read_only.with_readings(app)
    collection, units = app.household.collection, app.household.units
    spot, plant = _place_named(app, name)
    weather, states = read_only.fetched_weather(app, now), read_only.stored_states(app)
    return chart_of(kind, spot, collection, weather, states, now, plant, units=units)


def _chart_of_readings(app: App, name: str | None, kind: SpotKind, now: datetime) -> SpotChart:
    """Return the chart of what was read at a spot. Raise ChartError if nothing was.

    Without a name it is the spot with the most nights.
    """
    collection, units = app.household.collection, app.household.units
    lessons = read_only.lessons_of_spots(app)
    if name is None and lessons:
        name = max(lessons, key=lambda spot: lessons[spot].course.nights.day.size)
    spot, plant = _place_named(app, name)
    lesson = lessons.get(spot)
    if lesson is None:
        why = (
            "is indoors; these charts are of spots outdoors"
            if collection.spot(spot).indoors
            else "no night has been both forecast and read yet"
        )
        msg = f"{spot}: {why}"
        raise ChartError(msg)
    made = made_line(now.astimezone(app.site.zone), str(app.site.zone), units)
    if kind == "correction":
        return correction_chart(spot, lesson.spot.night_offset_k, lesson.course, made, units)
    plants = [plant] if plant else [one for one in collection.plants if one.home == spot]
    return readings_chart(spot, lesson.lows, lesson.course, plants, made, units)


def _file_name(name: str) -> str:
    """Return a spot or plant as the beginning of a file name that stays in this folder."""
    return re.sub(r"[\W_]+", "-", name.lower())[:60].strip("-") or "chart"


def _place_named(app: App, name: str | None) -> tuple[str, Plant | None]:
    """Return the spot of this name, or the home of the plant of this name and that plant.

    A part of the name is enough if it is clear. Without a name it is the spot where most plants
    live, outdoors if any do. Raise UsageError.
    """
    collection = app.household.collection
    if name is None:
        homes = Counter(plant.home for plant in collection.plants)
        return max(homes, key=lambda home: (not collection.spot(home).indoors, homes[home])), None
    spots = [spot.name for spot in collection.spots]
    if name in spots:
        return name, None
    spots_found = [spot for spot in spots if name.lower() in spot.lower()]
    is_plant = any(plant.name == name for plant in collection.plants)
    if is_plant or not spots_found:
        plant = shared.plant_named(app, name, others=spots)
        return plant.home, plant
    plants_found = [plant.name for plant in collection.plants if name.lower() in plant.name.lower()]
    if len(spots_found) == 1 and not plants_found:
        return spots_found[0], None
    found = listed([*spots_found, *plants_found])
    msg = f'"{name}" is more than one spot or plant here ({found})'
    raise UsageError(msg)
