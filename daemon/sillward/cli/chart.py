"""`sillward chart`: draw the nights ahead, or the water."""

import re
from collections import Counter
from pathlib import Path

import click

from sillward.assembly import read_only
from sillward.assembly.app import App, Options
from sillward.charts.data import KINDS, Kind, chart_of, document
from sillward.cli import completion, shared
from sillward.cli.pictures import form_of, write_picture
from sillward.cli.printing import print_json
from sillward.errors import UsageError
from sillward_rules.plants.plant import Plant


@click.command()
@click.argument("name", required=False, metavar="[SPOT|PLANT]", shell_complete=completion.plants)
@shared.options()
@click.option("--kind", type=click.Choice(KINDS), default="night", help="Default: night.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE.png|.svg",
    help="Default: SPOT-night.png or the like, in this folder.",
)
def chart(options: Options, as_json: bool, name: str | None, kind: Kind, out: Path | None) -> None:
    """Draw a chart of a SPOT, or of a PLANT at its home: the nights ahead, or the water.

    Without a name it is the spot outdoors where most plants live.
    """
    form = form_of(out, "--out")
    app = shared.build(options)
    app, now = shared.at_moment(app, None)
    app = read_only.with_readings(app)
    collection = app.household.collection
    spot, plant = _place_named(app, name)
    weather, units = read_only.fetched_weather(app, now), app.household.units
    states = read_only.stored_states(app)
    data = chart_of(kind, spot, collection, weather, states, now, plant, units=units)
    if as_json:
        print_json(document(data))
        return
    file = out or Path(f"{_file_name(data.plant or data.spot)}-{kind}.{form}")
    write_picture(file, data, form)
    click.echo(f"{file}: {data.title}; {data.subtitle}")


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
    found = ", ".join([*spots_found, *plants_found])
    msg = f'"{name}" is more than one spot or plant here ({found})'
    raise UsageError(msg)
