"""What commands share that look at a household: their options, the moment, who is spoken to."""

import functools
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

import click

from sillward.assembly import looking
from sillward.assembly.app import App, Options
from sillward.assembly.app import build as build_app
from sillward.errors import UsageError
from sillward.wording.voice import Voice
from sillward_rules.plants.plant import Plant
from sillward_rules.sheet import Round

Command = Callable[..., None]

ROUNDS = click.Choice([round_.value for round_ in Round])


def options(
    *, at: bool = True, recorded: bool = True, as_json: bool = True
) -> Callable[[Command], Command]:
    """The options that commands share; the command gets them as `options` (and `as_json`)."""

    def decorate(command: Command) -> Command:
        @functools.wraps(command)
        def wrapped(
            collection: Path | None,
            at: str | None = None,
            recorded: Path | None = None,
            **kwargs: Any,
        ) -> None:
            command(Options(collection, at, recorded), **kwargs)

        result: Command = wrapped
        if as_json:
            result = click.option("--json", "as_json", is_flag=True, help="One JSON document.")(
                result
            )
        if recorded:
            result = click.option(
                "--recorded",
                type=click.Path(path_type=Path),
                metavar="FILE",
                help="A stored forecast instead of the network.",
            )(result)
        if at:
            result = click.option("--at", metavar="ISO-TIME", help="Pretend it is this time.")(
                result
            )
        return click.option(
            "--collection",
            type=click.Path(path_type=Path),
            metavar="FILE",
            help="The collection (default: SILLWARD_COLLECTION).",
        )(result)

    return decorate


def build(options: Options) -> App:
    """The app of this call. Every command begins here, so that a test can give it a clock."""
    return build_app(options)


def at_moment(app: App, round_: Round | None) -> tuple[App, datetime]:
    """The app with its clock at the moment to look at, and that moment."""
    now, as_recorded = looking.moment_to_look_at(app, round_)
    if as_recorded:
        told = f"{app.site.local_date(now)} {app.household.voice.hour(now)}"
        note = f"no --at given: taking {told}, when it was recorded"
        click.echo(f"sillward: {note}", err=True)
    return replace(app, clock=lambda: now), now


def reader(app: App, *, as_json: bool) -> Voice:
    """How to speak to whoever reads a report: a machine in SI by 24 hours, whatever people like."""
    return Voice(app.site) if as_json else app.household.voice


def plant_named(app: App, name: str, beside: Sequence[str] = ()) -> Plant:
    """The plant of this name, or the only one whose name contains it.

    beside: what else could have been named.
    """
    plants = app.household.collection.plants
    exact = [plant for plant in plants if plant.name == name]
    wanted = " ".join(name.lower().split())
    near = exact or [one for one in plants if wanted in " ".join(one.name.lower().split())]
    if len(near) == 1:
        return near[0]
    known = ", ".join([*([] if near else beside), *(plant.name for plant in near or plants)])
    what = "more than one plant" if near else "not a spot or plant" if beside else "not a plant"
    msg = f'"{name}" is {what} here ({known})'
    raise UsageError(msg)
