"""The command line: parse, call, print. The answer goes to standard output, talk to the other.

Exit status: 0 done, 1 could not do it, 2 wrong usage, 78 a collection or setting that is wrong.
"""

import functools
import json
import os
import re
import threading
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from itertools import chain
from pathlib import Path
from typing import Any

import click

from sillward import (
    __version__,
    calendar_keeper,
    completion,
    document,
    first_run,
    forecast_report,
    heartbeat,
    last_word,
    mixing,
    reports,
    rounds,
    trial,
    words_report,
)
from sillward.app import DEMOS, App, Options, atlas, build, demo, desks_of, start_logging
from sillward.calendar_file import to_ics
from sillward.calendar_keeper import CalendarKeeper
from sillward.charts import child as charting
from sillward.charts.data import KINDS, Kind, of_place
from sillward.charts.data import document as chart_document
from sillward.collection import Channel
from sillward.daemon import Daemon, on_end
from sillward.errors import ChartError, ConfigError, SillwardError, SourceError, UsageError
from sillward.ledger import Ledger, StoredChore
from sillward.notices import channels, full, short
from sillward.notices.courier import Courier
from sillward.notices.voice import Voice
from sillward.schema import collection_schema
from sillward.service import Desk
from sillward.settings import last_resort, load_settings
from sillward.terminal import patience, patient, screen
from sillward_rules.account import account_for
from sillward_rules.chore import WETTINGS, Chore, ChoreKind
from sillward_rules.collection import PlantState
from sillward_rules.plant import Plant
from sillward_rules.sheet import Round, acknowledged, draw_up, next_state

PURPOSES = {
    "Look": ("sheet", "why", "forecast", "status", "chart", "calendar", "demo"),
    "Be told": ("run", "send", "done", "stopped"),
    "Set up": ("new", "check", "try-channel", "groups", "mix", "words", "schema"),
}
"""What a grower wants to do, and with which commands."""


class PlainWords(click.Group):
    """A group whose commands end in plain words and an exit status, never in a traceback."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands by what they are for, under each purpose those used most first."""
        widest = max(map(len, self.commands))
        for purpose, names in PURPOSES.items():
            with formatter.section(purpose):
                formatter.write_dl(
                    [
                        (f"{name:<{widest}}", self.commands[name].get_short_help_str(limit=60))
                        for name in names
                    ]
                )

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; say what went wrong."""
        try:
            return super().invoke(ctx)
        except SillwardError as error:
            for line in str(error).splitlines():
                click.echo(f"sillward: {line}", err=True)
            ctx.exit(error.exit_status)


_EPILOG = """\b
Exit status: 0 done, 1 could not do it or something is wrong, 2 wrong usage,
78 a collection or setting that is wrong.

Each command has its own help: `sillward sheet --help`.
"""


@click.group(
    cls=PlainWords,
    context_settings={"help_option_names": ["-h", "--help"]},
    epilog=_EPILOG,
)
@click.version_option(__version__)
def main() -> None:
    """Say in time what tender plants in containers need: in, out, mist, keep dry."""


Command = Callable[..., None]


def _options(
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


_ROUNDS = click.Choice([round_.value for round_ in Round])


def _say(line: str) -> None:
    """Print one line, broken where the screen ends."""
    for piece in screen().lines(line):
        click.echo(piece)


def _print_json(value: Any) -> None:
    click.echo(json.dumps(value, ensure_ascii=False, indent=2))


@main.command("demo", short_help="The packaged example in recorded weather.")
@click.argument("weather", type=click.Choice(list(DEMOS)), default="cold-snap")
def demo_command(weather: str) -> None:
    """Show the packaged example in a recorded WEATHER: three rounds, nothing sent, no network.

    Example: sillward demo dry-summer
    """
    app = demo(weather)
    states: dict[str, PlantState] = {}
    dusk = app.clock()
    forecast = app.weather(dusk)
    told = app.household.rounds
    tomorrow = app.site.local_date(dusk) + timedelta(days=1)
    for round_, at in (
        (Round.DUSK, dusk),
        (Round.MORNING, told.morning.on(app.site, tomorrow)),
        (Round.WEEK, told.week.moment.on(app.site, tomorrow)),
    ):
        weather_then = replace(forecast, fetched_at=at)
        sheet = draw_up(round_, app.household.collection, weather_then, states, at)
        states = next_state(states, sheet)
        push = short.message(sheet, app.household.voice)
        click.echo(f"{'=' * 78}\nThe {round_.value} push, as a phone shows it\n")
        for line in (push.title, *push.body.splitlines()):
            _say(f"  {line}")
        click.echo(f"\n{'-' * 78}\n")
        click.echo(full.text(sheet, app.household.voice, app.attribution(forecast)))
    others = ", ".join(f"sillward demo {name}" for name in DEMOS if name != weather)
    _say(f"Other weather: {others}")


@main.command(short_help="Is the collection right? Every limit and its origin.")
@_options(at=False, recorded=False)
def check(options: Options, as_json: bool) -> None:
    """Validate collection, settings and channels; show every limit and where it comes from.

    Example: sillward check --collection yard.toml
    """
    app = build(options)
    channels.check_channels(app.household.channels, app.path.name)
    app.require_places()
    if app.settings.calendar is not None:
        calendar_keeper.check_place(app.settings.calendar)
    for line in words_report.check(app.household.voice, app.path.name):
        click.echo("\n".join(screen().lines(f"sillward: note: {line}")), err=True)
    sources = [source.name for source in app.sources]
    if as_json:
        _print_json(reports.check_document(app.household, sources))
    else:
        click.echo(reports.check_text(app.household, app.clock(), sources, screen()))


@main.command(short_help="What is to be done: the sheet of a round, now.")
@_options()
@click.option("--round", "round_name", type=_ROUNDS, help="Default: the round nearest in time.")
@click.option("--short", "as_push", is_flag=True, help="As a phone gets it.")
def sheet(options: Options, as_json: bool, round_name: str | None, as_push: bool) -> None:
    """Print the sheet of a round now.

    Example: sillward sheet --round dusk
    """
    app = build(options)
    app, now = _at_moment(app, Round(round_name) if round_name else None)
    round_ = Round(round_name) if round_name else rounds.nearest(app.site, now)
    weather = app.weather(now)
    drawn = draw_up(round_, app.household.collection, weather, app.states(), now)
    if as_json:
        _print_json(document.of_sheet(drawn, app.site))
    elif as_push:
        push = short.message(drawn, app.household.voice)
        for line in (push.title, *push.body.splitlines()):
            _say(line)
    else:
        click.echo(full.text(drawn, app.household.voice, app.attribution(weather)), nl=False)


def _at_moment(app: App, round_: Round | None) -> tuple[App, Any]:
    """The app with its clock at the moment to look at, and that moment."""
    now, as_recorded = app.moment(round_)
    if as_recorded:
        told = f"{app.site.local_date(now)} {app.household.voice.hour(now)}"
        note = f"no --at given: taking {told}, when it was recorded"
        click.echo(f"sillward: {note}", err=True)
    return replace(app, clock=lambda: now), now


def _reader(app: App, *, as_json: bool) -> Voice:
    """How to speak to whoever reads a report: a machine in SI by 24 hours, whatever people like."""
    return Voice(app.site) if as_json else app.household.voice


@main.command(short_help="The numbers behind the decisions for a plant.")
@click.argument("plant", nargs=-1, required=True, shell_complete=completion.plants)
@_options()
def why(options: Options, as_json: bool, plant: tuple[str, ...]) -> None:
    """Show hour by hour the numbers behind today's decisions for a PLANT.

    Its name, with or without quotes, or as much of it as makes it clear.

    Example: sillward why blue basket
    """
    app = build(options)
    app, now = _at_moment(app, None)
    chosen = _plant_named(app, " ".join(plant))
    collection, weather, states = app.household.collection, app.weather(now), app.states()
    account = account_for(chosen, collection, weather, states, now)
    decided = [
        drawn
        for round_ in (Round.MORNING, Round.DUSK)
        for drawn in [draw_up(round_, collection, weather, states, now)]
    ]
    if as_json:
        _print_json(reports.why_document(account, decided, app.site))
    else:
        click.echo(reports.why_text(account, decided, app.household.voice))


def _plant_named(app: App, name: str, beside: Sequence[str] = ()) -> Plant:
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
    what = "more than one plant" if near else "no spot or plant" if beside else "no plant"
    msg = f'"{name}" is {what} here ({known})'
    raise UsageError(msg)


@main.command(short_help="A picture of the nights ahead, or of the water.")
@click.argument("name", required=False, metavar="[SPOT|PLANT]", shell_complete=completion.plants)
@_options()
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
    form = _form_of(out)
    app = build(options)
    app, now = _at_moment(app, None)
    collection = app.household.collection
    spot, plant = _place_named(app, name)
    weather, units = app.weather(now), app.household.units
    data = of_place(kind, spot, collection, weather, app.states(), now, plant, units=units)
    if as_json:
        _print_json(chart_document(data))
        return
    file = out or Path(f"{_file_name(data.plant or data.spot)}-{kind}.{form}")
    picture = charting.picture(data, form)
    try:
        file.write_bytes(picture)
    except OSError as error:
        msg = f"{file}: the chart cannot be written: {error.strerror}"
        raise ChartError(msg) from None
    click.echo(f"{file}: {data.title}; {data.subtitle}")


def _form_of(out: Path | None) -> charting.Form:
    """What the file's name asks for."""
    ending = ".png" if out is None else out.suffix.lower()
    if ending not in (".png", ".svg"):
        msg = f'--out "{out}": a chart is a .png or an .svg'
        raise UsageError(msg)
    return "svg" if ending == ".svg" else "png"


def _file_name(name: str) -> str:
    """A spot or a plant as the beginning of a file's name, in this folder."""
    return re.sub(r"[\W_]+", "-", name.lower())[:60].strip("-") or "chart"


def _place_named(app: App, name: str | None) -> tuple[str, Plant | None]:
    """The spot of this name, or the plant and its home; the only one whose name contains it."""
    collection = app.household.collection
    if name is None:
        homes = Counter(plant.home for plant in collection.plants)
        # Of those outdoors, if there are any.
        return max(homes, key=lambda one: (not collection.spot(one).indoors, homes[one])), None
    spots = [spot.name for spot in collection.spots]
    if name in spots:
        return name, None
    near = [spot for spot in spots if name.lower() in spot.lower()]
    exact = any(plant.name == name for plant in collection.plants)
    if exact or not near:
        plant = _plant_named(app, name, beside=spots)
        return plant.home, plant
    also = [plant.name for plant in collection.plants if name.lower() in plant.name.lower()]
    if len(near) == 1 and not also:
        return near[0], None
    msg = f'"{name}" is more than one spot or plant here ({", ".join([*near, *also])})'
    raise UsageError(msg)


@main.command(short_help="Tell one round to its channels, never twice.")
@_options(as_json=False)
@click.option("--round", "round_name", type=_ROUNDS, required=True, help="Which round to tell.")
def send(options: Options, round_name: str) -> None:
    """Tell one round to its channels, for cron or by hand; never the same round twice.

    Example: sillward send --round morning
    """
    app = build(options)
    start_logging(app.settings.log_level)
    app.require_channels()
    round_ = Round(round_name)
    if not any(round_.value in channel.rounds for channel in app.household.channels):
        msg = f"{app.path.name}: channels: none of them is told the {round_.value} round"
        raise ConfigError([msg])
    app, now = _at_moment(app, round_)
    if app.pretending:
        click.echo("sillward: a trial: it is sent, and nothing of it is remembered", err=True)
    desk = app.desk()
    desk.keeper.ask = patient(desk.keeper.ask)
    ended = threading.Event()
    on_end(ended.set)
    desk.stopping = ended.is_set
    blind: SourceError | None = None
    try:
        desk.keeper.fetch()
        desk.keeper.refresh_members()
    except SourceError as error:
        blind = error
    occasion = rounds.current(app.site, app.household.rounds, round_, now)
    if desk.tell(occasion) is None:
        click.echo(f"the {occasion.name} round of {occasion.day} has been told before", err=True)
    desk.deliver(by_hand=True)
    waiting = False
    for notice in desk.ledger.of_round(app.site.name, occasion.name, occasion.day):
        at = "" if notice.sent_at is None else f" {app.household.voice.hour(notice.sent_at)}"
        _say(f"{notice.channel}: {notice.state}{at}{_reason(notice.last_error)}")
        waiting = waiting or notice.state not in ("sent", "not needed")
    desk.ledger.close()
    if blind is not None:
        raise blind
    if waiting:
        click.get_current_context().exit(1)


def _reason(error: str | None) -> str:
    return f" ({error})" if error else ""


@main.command(short_help="The daemon: tells every round in time, until SIGTERM.")
@click.option(
    "--collection",
    "collections",
    type=click.Path(path_type=Path),
    metavar="FILE",
    multiple=True,
    help="The collection (default: SILLWARD_COLLECTION); repeat it for more than one site.",
)
@click.option(
    "--recorded",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="A stored forecast instead of the network.",
)
def run(collections: tuple[Path, ...], recorded: Path | None) -> None:
    """Run the daemon until SIGTERM."""
    apps = [build(Options(path, recorded=recorded)) for path in collections or (None,)]
    start_logging(apps[0].settings.log_level)
    with closing(Courier()) as courier:
        for app in apps:
            app.require_places(courier.problems)
            app.require_channels(courier.problems)
        names = [app.site.name for app in apps]
        if len(set(names)) < len(names):
            msg = f"{apps[-1].path.name}: site.name: two collections are for one site ({names[-1]})"
            raise ConfigError([msg])
        desks = desks_of(apps, sender=courier)
        if not Daemon(desks, status=_after_tick(apps, desks, courier)).run():
            # A job hangs: an ordinary exit would wait for its thread, and nobody would restart us.
            os._exit(1)
        desks[0].ledger.close()


def _after_tick(apps: Sequence[App], desks: Sequence[Desk], courier: Courier) -> Callable[[], str]:
    """What is done after each tick: the courier rests, the calendar is kept, the heart beats,
    the status is told."""
    pulse = heartbeat.build(apps[0].settings)
    path = apps[0].settings.calendar
    calendar = None if path is None else CalendarKeeper(path, desks)
    first = desks[0]

    def then() -> str:
        courier.close()
        if calendar is not None:
            calendar.keep()
        wrong = [desk.troubles() for desk in desks]
        if pulse is not None:
            pulse.beat(first.clock(), "; ".join(chain.from_iterable(wrong)) or None)
        return reports.status_line(first.household, wrong[0], first.clock())

    return then


@main.command("try-channel", short_help="Send a trial to a channel, or to all.")
@click.argument("name", required=False, shell_complete=completion.channels)
@_options(at=False, recorded=False, as_json=False)
def try_channel(options: Options, name: str | None) -> None:
    """Send a message that asks for nothing to the channel of this NAME, or to all.

    It goes the way of real notices; nothing of it is remembered. Exit status 0 if each channel
    took it, 1 if one did not or may not have, 78 if a channel's url is wrong.

    Example: sillward try-channel phone
    """
    app, outcomes = build(options), []
    with closing(Courier()) as courier:
        chosen = _channels_to_try(app, name, courier)
        now = app.clock()
        drawn = app.sheet_at_hand(now) if any(one.full_length for one in chosen) else None
        for channel in chosen:
            message = trial.message(channel, app.household.voice, now, drawn)
            with patience(f"sending to {channel.name} ..."):
                outcomes.append(trial.tried(channel, message, courier))
            click.echo(trial.line(outcomes[-1], chosen, screen()))
    if any(one.state is trial.State.SENT for one in outcomes):
        _say("sent means that the other side took it: look whether it has arrived")
    if any(one.state is not trial.State.SENT for one in outcomes):
        click.get_current_context().exit(1)


def _channels_to_try(app: App, name: str | None, courier: Courier) -> list[Channel]:
    """The channel of this name, or all. Raise UsageError, or ConfigError for a url."""
    listed = app.household.channels
    known = [one.name for one in listed]
    if listed and name is not None and name not in known:
        msg = f'"{name}" is no channel here ({", ".join(known)})'
        raise UsageError(msg)
    chosen = [one for one in listed if name in (None, one.name)]

    def problems(of: Sequence[Channel]) -> list[str | None]:
        found = courier.problems(of)
        return [one if channel in chosen else None for channel, one in zip(of, found, strict=True)]

    app.require_channels(problems)
    return chosen


@main.command(short_help="Tell the channels that sillward has stopped.")
@click.option("--why", default="", metavar="TEXT", help="A word about the reason.")
def stopped(why: str) -> None:
    """Tell the channels that sillward has stopped; for a service manager to run.

    It reads settings and credentials alone, neither the collection nor the ledger.
    """
    outcomes = last_word.tell(last_resort(), why)
    for name, outcome in outcomes:
        _say(f"{name}: {outcome}")
    if not outcomes:
        msg = "nobody can be told: no channel's url is in the environment or a credential"
        raise ConfigError([msg])
    if not any(outcome.startswith(("told", "perhaps told")) for _, outcome in outcomes):
        click.get_current_context().exit(1)


@main.command(short_help="Say that a chore is done.")
@click.argument("chore", shell_complete=completion.chores)
@_options(recorded=False, as_json=False)
def done(options: Options, chore: str) -> None:
    """Acknowledge a CHORE: its id, as much of it as makes it clear, or a kind such as carry-in.

    A kind stands for all open chores of that kind of the latest day, today's at the latest.

    Example: sillward done carry-in
    """
    app = build(options)
    now = app.clock()
    today = str(app.site.local_date(now))
    if not app.has_ledger:
        msg = f'"{chore}" is no chore that was told; nothing has been told yet'
        raise UsageError(msg)
    with closing(Ledger(app.settings.ledger)) as ledger:
        told = [
            one
            for one in ledger.chores(app.site.name, now - completion.ACKNOWLEDGED_WITHIN)
            if one.called_off_at is None and (one.day <= today or one.id == chore)
        ]
        for one in _chores_named(told, chore):
            _say(_acknowledge(app, ledger, one, now))


def _acknowledge(app: App, ledger: Ledger, told: StoredChore, now: datetime) -> str:
    """Write down that a chore is done, and return that in words."""
    if told.done_at is not None:
        return f"{told.id} was done {app.household.voice.date_and_hour(told.done_at)} already"
    states, document_ = ledger.states(app.site.name), told.document
    kind, to_spot = ChoreKind(told.kind), document_["to"]
    before = {name: states.get(name) or PlantState(document_["from"]) for name in told.plants}
    # Last night's carrying in says nothing of where a plant is that was to go out this morning.
    later = {
        name: state
        for name, state in before.items()
        if kind not in WETTINGS and state.since is not None and state.since > told.before
    }
    changed = {
        name: acknowledged(state, kind, to_spot, now)
        for name, state in before.items()
        if name not in later
    }
    ledger.finish(app.site.name, told.id, now, changed)
    elsewhere = [
        f"; {name} is at {state.spot} by what was told later"
        for name, state in later.items()
        if state.spot != to_spot
    ]
    return f"done: {told.id} ({', '.join(told.plants)}){''.join(elsewhere)}"


def _chores_named(told: list[StoredChore], name: str) -> list[StoredChore]:
    """All open chores of a kind, of the latest day; else the one chore that is meant."""
    of_kind = [one for one in told if one.kind == name and one.open]
    if of_kind:
        latest = max(one.day for one in of_kind)
        return [one for one in of_kind if one.day == latest]
    return [_chore_named(told, name)]


def _chore_named(told: list[StoredChore], name: str) -> StoredChore:
    """The chore of this id, or the latest open one whose id contains it."""
    near = [one for one in told if one.id == name]
    near = near or [one for one in told if name.lower() in one.id]
    ways = {one.id[10:] for one in near}  # without the date
    still = [one for one in near if one.done_at is None]
    if len(ways) == 1 and (still or near):
        return max(still or near, key=lambda one: one.id)
    known = ", ".join(one.id for one in near or told if one.open) or "none"
    what = "is more than one chore" if near else "is no chore that was told"
    msg = f'"{name}" {what}; open: {known}'
    raise UsageError(msg)


@main.command(short_help="What was fetched and sent, what is wrong, what comes.")
@_options(recorded=False)
def status(options: Options, as_json: bool) -> None:
    """Show what the daemon last fetched, sent and failed to send, and what comes next.

    Exit status 1 if anything is wrong.
    """
    app = build(options)
    if not app.has_ledger:
        msg = f"{app.settings.ledger}: there is no ledger yet; nothing has run so far"
        raise SourceError(msg)
    with closing(Ledger(app.settings.ledger)) as ledger:
        keeper, voice = app.keeper(ledger), _reader(app, as_json=as_json)
        report = reports.status_document(app.household, keeper, app.clock(), voice)
    if as_json:
        _print_json(report)
    else:
        click.echo(reports.status_text(report, app.household.voice, screen()))
    if report["troubles"]:
        click.get_current_context().exit(1)


@main.command(short_help="The forecasts that are held, and tonight's lows.")
@_options()
def forecast(options: Options, as_json: bool) -> None:
    """Show which forecasts are held, how far to trust them, and tonight's low at each spot."""
    app = build(options)
    app, now = _at_moment(app, None)
    with closing(app.ledger_of_forecasts()) as ledger:
        keeper = app.keeper(ledger)
        if options.recorded is not None:
            keeper.fetch()
        if keeper.shelf.best(app.site) is None:
            msg = "no forecast is held yet; `sillward run` and `sillward send` keep what they fetch"
            raise SourceError(msg)
        voice = _reader(app, as_json=as_json)
        report = forecast_report.document(app.household, keeper, now, voice)
    if as_json:
        _print_json(report)
    else:
        click.echo(forecast_report.text(report, app.household, screen()))


@main.command("calendar", short_help="The chores for a calendar program.")
@_options(as_json=False)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Write it there instead of printing it.",
)
def calendar_command(options: Options, out: Path | None) -> None:
    """Print the chores as an iCalendar file: those that were told, and the trips expected.

    A view for any calendar program and never the alert. `run` keeps the file SILLWARD_CALENDAR.
    """
    app = build(options)
    app, now = _at_moment(app, None)
    collection, expected = app.household.collection, tuple[Chore, ...]()
    try:
        expected = calendar_keeper.trips(collection, app.weather(now), app.states(), now)
    except SourceError as error:
        click.echo(f"sillward: {error}; trips to come are not known", err=True)
    with closing(app.ledger_for_a_look()) as ledger:
        content = to_ics([calendar_keeper.page(ledger, app.household.voice, expected, now)])
    if out is None:
        click.echo(content, nl=False)
    else:
        calendar_keeper.put(out, content)


@main.command(short_help="The culture groups: which one is mine?")
@click.argument("words", nargs=-1)
def groups(words: tuple[str, ...]) -> None:
    """List the culture groups, or those that have all these WORDS in name or examples.

    Example: sillward groups dendrobium warm
    """
    click.echo(reports.groups_text(words, screen()))


@main.command(short_help="A few questions, and your first collection.")
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace a file that is there.")
def new(file: Path | None, force: bool) -> None:
    """Ask a few questions, write a first collection (FILE), and show tonight's sheet.

    FILE is SILLWARD_COLLECTION unless it is given.
    """
    settings = load_settings()
    try:
        path = first_run.ask_and_write(file or settings.collection, atlas(settings), force=force)
    except (click.Abort, KeyboardInterrupt):
        click.echo("\nsillward: stopped; nothing was written", err=True)
        click.get_current_context().exit(1)
    click.echo(f"\nWritten: {path}\n")
    app = build(Options(collection=path))
    now = app.clock()
    try:
        weather = app.weather(now)
    except SourceError as error:
        click.echo(f"No sheet yet: {error}\n")
    else:
        drawn = draw_up(Round.DUSK, app.household.collection, weather, app.states(), now)
        click.echo(full.text(drawn, app.household.voice, app.attribution(weather)))
    click.echo(first_run.next_steps(path, settings.collection))


@main.command(short_help="The words of messages, and how to change them.")
@click.argument("names", nargs=-1)
@click.option("--collection", type=click.Path(path_type=Path), help="The collection file.")
@click.option("--out", type=click.Path(path_type=Path), help="Copy ours into this folder.")
def words(names: tuple[str, ...], collection: Path | None, out: Path | None) -> None:
    """List the macros of messages, those named like NAMES: what they are told and say now.

    Example: sillward words stay
    """
    if out is not None:
        written = ", ".join(words_report.copy(out))
        _say(f"Written to {out}: {written}. Keep the macros that you change, delete the others.")
        return
    try:
        household = build(Options(collection)).household
    except ConfigError:
        if collection is not None:
            raise
        household = demo("cold-snap").household
    click.echo(words_report.text(household.voice, names, screen()))


@main.command("schema", short_help="The JSON Schema of a collection, for editors.")
def schema_command() -> None:
    """Print the JSON Schema of a collection file, for editors."""
    _print_json(collection_schema())


@main.command(short_help="The arithmetic of a feed: what to weigh in.")
@click.option("--npk", required=True, metavar="N-P-K", help="The label, such as 20-20-20.")
@click.option("--ppm-n", type=float, help="Nitrogen wanted from the fertiliser, mg/L.")
@click.option("--grams-per-litre", type=float, help="Fertiliser in a litre, instead of --ppm-n.")
@click.option("--salt", "salts", multiple=True, metavar="NAME=G/L", help="A salt; repeatable.")
@click.option("--water-ec", type=float, required=True, help="EC of the bare water, mS/cm.")
@click.option("--ec-per-100", type=float, help="EC for 100 ppm N by the label, mS/cm.")
@click.option("--mg", type=float, help="Magnesium (Mg) by the label, %.")
@click.option("--ca", type=float, help="Calcium (Ca) by the label, %.")
@click.option("--litres", type=float, help="What the sprayer holds.")
@click.option("--limit", type=float, help="The EC that the plants bear, mS/cm.")
@click.option("--json", "as_json", is_flag=True, help="One JSON document.")
def mix(as_json: bool, **asked: Any) -> None:
    """Work out a feed: what to weigh in, its nutrients and strength, and when to rinse.

    Example: sillward mix --npk 20-20-20 --ppm-n 60 --water-ec 0.3 --litres 5
    """
    recipe = mixing.recipe(**asked)
    if as_json:
        _print_json(mixing.document(recipe))
    else:
        click.echo(mixing.text(recipe, screen()))
