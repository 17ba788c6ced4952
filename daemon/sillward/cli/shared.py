"""What commands share that look at a household: options, app, moment, plants by name."""

import functools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from sillward.assembly import accepted
from sillward.assembly.app import App, FindHousehold, Options, household_of_file
from sillward.assembly.app import build as build_app
from sillward.cli import plant_names
from sillward.config.validation import did_you_mean
from sillward.errors import UsageError, listed, one_line
from sillward.wording.voice import Voice
from sillward_rules.plants.plant import Plant
from sillward_rules.round import Round

Command = Callable[..., None]

ROUNDS = click.Choice([round_.value for round_ in Round])


def _one(context: click.Context, option: click.Parameter, paths: Sequence[Path]) -> Path | None:
    """Return the only collection: of two, one would be left out without a word."""
    del context, option
    if len(paths) > 1:
        msg = "--collection is given twice; only `sillward run` takes more than one"
        raise UsageError(msg)
    return paths[0] if paths else None


_COLLECTION = click.option(
    "--collection",
    type=click.Path(path_type=Path),
    multiple=True,
    callback=_one,
    metavar="FILE",
    help="The collection (default: SILLWARD_COLLECTION).",
)
_HOUSEHOLD = click.option(
    "--household",
    metavar="NAME",
    help="A household in the folder that SILLWARD_COLLECTIONS names.",
)
_AT = click.option("--at", metavar="ISO-TIME", help="Pretend it is this time.")
_RECORDED = click.option(
    "--recorded",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A stored forecast instead of the network.",
)
_AS_JSON = click.option("--json", "as_json", is_flag=True, help="One JSON document.")


def options(
    *, at: bool = True, recorded: bool = True, as_json: bool = True
) -> Callable[[Command], Command]:
    """Give a command the shared options, except those that it has no use for.

    The command gets them as one argument, `options`, and --json as `as_json`.
    """
    chosen = [_COLLECTION, _HOUSEHOLD]
    chosen += [
        option
        for option, wanted in ((_AT, at), (_RECORDED, recorded), (_AS_JSON, as_json))
        if wanted
    ]

    def decorate(command: Command) -> Command:
        @functools.wraps(command)
        def with_options(
            collection: Path | None,
            household: str | None,
            at: str | None = None,
            recorded: Path | None = None,
            **kwargs: Any,
        ) -> None:
            command(Options(collection, at, recorded, household), **kwargs)

        result: Command = with_options
        for option in reversed(chosen):
            result = option(result)
        return result

    return decorate


def build(options: Options, find: FindHousehold = household_of_file) -> App:
    """Return the app of this call, with the limits that the grower has accepted.

    Every command begins here: a test can give it a clock.
    """
    app = build_app(options, find=find)
    return replace(app, household=accepted.with_accepted_limits(app))


def at_moment(app: App, round_: Round | None) -> tuple[App, datetime]:
    """Return the app with its clock stopped at the moment to look at, and that moment.

    round_: the round to look at, if a certain one is asked for.
    """
    # What it takes to look ahead; those who only answer or measure need not wait for it.
    from sillward.assembly import read_only

    now, as_recorded = read_only.moment_to_show(app, round_)
    if as_recorded:
        moment = f"{app.site.local_date(now)} {app.household.voice.hour(now)}"
        note = f"no --at given: taking {moment}, when it was recorded"
        click.echo(f"sillward: {note}", err=True)
    return replace(app, clock=lambda: now), now


def voice_for(app: App, *, as_json: bool) -> Voice:
    """Return the voice that words a report: for machines in SI and by 24 hours, whatever is set."""
    return Voice(app.site) if as_json else app.household.voice


def plant_named(app: App, name: str, others: Sequence[str] = ()) -> Plant:
    """Return the plant of this name, or the only one whose name contains it. Raise UsageError.

    others: what else could have been named, for the error.
    """
    plants = {plant.name: plant for plant in app.household.collection.plants}
    return plants[plant_names.one_name(list(plants), name, others)]


def plants_named(app: App, names: str) -> list[Plant]:
    """Return the plants of "lime, blue basket kumquat", each once. Raise UsageError."""
    plants = {plant.name: plant for plant in app.household.collection.plants}
    return [plants[name] for name in plant_names.several(list(plants), names)]


def spot_named(app: App, name: str, others: Iterable[str] = ()) -> str:
    """Return the spot of this name, or the only one whose name contains it. Raise UsageError.

    others: spots that the collection does not have any more.
    """
    spots = list(dict.fromkeys([*(spot.name for spot in app.household.collection.spots), *others]))
    if name in spots:
        return name
    wanted = " ".join(name.lower().split())
    found = [spot for spot in spots if wanted and wanted in spot.lower()]
    if len(found) == 1:
        return found[0]
    known = listed(found or spots)
    what = "more than one spot" if found else "not a spot"
    near = "" if found else did_you_mean(name, spots)
    msg = f'"{one_line(name, 60)}" is {what} here ({known}){near}'
    raise UsageError(msg)
