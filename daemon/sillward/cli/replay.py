"""`sillward replay`: the daily tool over past weather, and what a change would have done."""

from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import click

from sillward.archive import PastWeather, read_archive
from sillward.assembly import accepted, examples, read_only
from sillward.assembly.app import App, Options
from sillward.charts.data import year_chart
from sillward.cli import completion, shared
from sillward.cli.pictures import form_of, write_picture
from sillward.cli.printing import print_json
from sillward.cli.progress import Progress
from sillward.config.changes import Change, read_change
from sillward.config.household import Household
from sillward.errors import ConfigError, UsageError
from sillward.replay.forecasts import ERRORS, SEED, Errors, forecasts_for, usual_choice
from sillward.replay.period import Period, period_asked, read_away, read_day, whole_period
from sillward.replay.run import LostProcessError, run
from sillward.reports import replay as report
from sillward.reports import replay_comparison as comparison
from sillward.text import terminal
from sillward_rules.plants.collection import Collection
from sillward_rules.replay.engine import Plan
from sillward_rules.replay.forecasts import Forecasts
from sillward_rules.replay.records import ReplayResult
from sillward_rules.replay.yardstick import judged_with
from sillward_rules.weather.learned_error import LearnedError


@dataclass(frozen=True, slots=True)
class _Wishes:
    """The options of a replay, as they were given."""

    archive: Path | None
    demo: bool
    first: str | None
    last: str | None
    errors: Errors | None
    seed: int
    away: tuple[str, ...]
    settings: tuple[str, ...]
    against: Path | None
    sensors: bool


@click.command()
@shared.options(at=False, recorded=False)
@click.option("--archive", type=click.Path(path_type=Path), metavar="FILE", help="Past weather.")
@click.option("--demo", is_flag=True, help="The packaged example in a year of invented weather.")
@click.option(
    "--from", "first", metavar="DATE", help="The first night (default: the first in the file)."
)
@click.option(
    "--to", "last", metavar="DATE", help="The last night (default: the last in the file)."
)
@click.option(
    "--errors",
    type=click.Choice(ERRORS),
    help="How wrong forecasts are (default: recorded if the file has them, else usual).",
)
@click.option(
    "--seed",
    type=click.IntRange(0, 2**32),
    default=SEED,
    metavar="NUMBER",
    help=f"Random seed of the forecast errors (default: {SEED}).",
)
@click.option(
    "--away",
    multiple=True,
    metavar="DATE[..DATE]",
    help="A day or days on which nobody does anything; repeatable.",
)
@click.option(
    "--set",
    "settings",
    multiple=True,
    metavar="KEY=VALUE",
    shell_complete=completion.changes,
    help="What if the collection had this value? Repeatable.",
)
@click.option(
    "--against",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="What if you had this other collection?",
)
@click.option(
    "--sensors",
    is_flag=True,
    help="Pretend there is a thermometer at every outdoor spot, read each hour of the night.",
)
@click.option(
    "--chart",
    type=click.Path(path_type=Path),
    metavar="FILE.png|.svg",
    help="Draw the nights as a calendar.",
)
def replay(options: Options, as_json: bool, chart: Path | None, **wishes: object) -> None:
    """Replay sillward over past weather, as if all its advice had been followed.

    With --set or --against it runs twice, and a table shows the differences.

    Example: sillward replay --demo --set plants.blue.limits.night_low=13
    """
    wished = _Wishes(**wishes)  # type: ignore[arg-type]
    form = form_of(chart, "--chart")
    app, file, usual_period = _app_and_file(options, wished)
    changes = [read_change(text) for text in wished.settings]
    households = [app.household, *_changed(app, wished.against, changes)]
    past = read_archive(file, app.site)
    period = _period(app, past, wished, usual_period)
    plans = _plans(households, past, period, _forecasts(app, past, wished), wished)
    progress = Progress("nights replayed", period.nights * len(plans))
    lost = None
    try:
        results = run(plans, lambda _: progress.one_more())
    except LostProcessError as error:
        results, lost = error.results, error
    told = [*wished.settings, *([f"--against {wished.against}"] if wished.against else [])]
    judged_alike = any(plan.judged_by != plan.collection for plan in plans)
    remarks = past.remarks if as_json or not wished.demo else ()
    _show(app, results, told, remarks, as_json=as_json, judged_alike=judged_alike)
    if chart is not None and results[-1].nights:
        voice, last = app.household.voice, results[-1]
        subtitle = report.span(last.nights[0].night, last.nights[-1].night, voice)
        footer = [f"changed: {'; '.join(told)}"] if told else []
        write_picture(
            chart, year_chart(last, subtitle, [*footer, report.forecasts(last, voice)]), form
        )
        click.echo(f"{chart}: {subtitle}", err=as_json)
    if lost is not None:
        raise lost
    if not all(result.complete for result in results):
        click.get_current_context().exit(1)


def _app_and_file(options: Options, wished: _Wishes) -> tuple[App, Path, Period | None]:
    """Return the app, the file of past weather, and the period that it is meant for, if any."""
    if wished.demo:
        if wished.archive is not None or options.collection is not None:
            msg = "--demo: has its own collection and past weather; leave out the others"
            raise UsageError(msg)
        app, file = examples.past_year()
        return app, file, Period(*examples.PAST_YEAR)
    if wished.archive is None:
        msg = "name a file of past weather with --archive, or try --demo"
        raise UsageError(msg)
    return shared.build(options), wished.archive, None


def _changed(app: App, against: Path | None, changes: Sequence[Change]) -> list[Household]:
    """Return the household to compare with, if one is asked for."""
    if against is None and not changes:
        return []
    if against is None:
        try:
            other = app.read_household(changes=changes)
        except ConfigError as error:  # the file itself is right: it has been read already
            raise UsageError(str(error)) from None
    else:
        other = app.read_household(against, changes)
        ours, theirs = app.site, other.collection.site
        if (theirs.latitude, theirs.longitude) != (ours.latitude, ours.longitude):
            msg = f"--against {against}: is for another place than {app.path}"
            raise UsageError(msg)
    return [accepted.with_accepted_limits(app, other)]


def _period(app: App, past: PastWeather, wished: _Wishes, usual: Period | None) -> Period:
    first = None if wished.first is None else read_day(wished.first, "--from")
    last = None if wished.last is None else read_day(wished.last, "--to")
    if usual is not None:
        first, last = first or usual.first, last or usual.last
    return period_asked(whole_period(app.site, past.weather), first, last)


def _forecasts(app: App, past: PastWeather, wished: _Wishes) -> Forecasts:
    errors = wished.errors or usual_choice(past)
    learned = _learned(app) if errors == "learned" else None
    return forecasts_for(errors, past, wished.seed, learned)


def _learned(app: App) -> LearnedError | None:
    """Return the errors that the ledger has of the first source of which it knows enough."""
    if app.pretending:
        return None
    with closing(read_only.ledger_to_read(app)) as ledger:
        store = read_only.forecast_updater(app, ledger).store
        found = (store.learned_error(app.site, source.name) for source in app.sources)
        return next((learned for learned in found if learned is not None), None)


def _plans(
    households: Sequence[Household],
    past: PastWeather,
    period: Period,
    forecasts: Forecasts,
    wished: _Wishes,
) -> list[Plan]:
    """Return a plan for each household; two are judged by the higher limits of both."""
    collections = [household.collection for household in households]
    others = reversed(collections) if len(collections) > 1 else collections
    return [
        Plan(
            household.collection,
            past.weather,
            forecasts,
            period.first,
            period.last,
            read_away(wished.away, period),
            household.policy.moved_by,
            household.policy.max_messages,
            judged_with(household.collection, other),
            _watched(household.collection) if wished.sensors else frozenset(),
        )
        for household, other in zip(households, others, strict=True)
    ]


def _watched(collection: Collection) -> frozenset[str]:
    """Return the spots at which a thermometer would say something that is not known already."""
    return frozenset(spot.name for spot in collection.spots if not spot.holds_itself)


def _show(
    app: App,
    results: Sequence[ReplayResult],
    changes: Sequence[str],
    remarks: Sequence[str],
    *,
    as_json: bool,
    judged_alike: bool,
) -> None:
    """Print one replay, or what differs between two."""
    voice, screen = shared.voice_for(app, as_json=as_json), terminal.screen()
    if len(results) == 1:
        if as_json:
            print_json(report.document(results[0], app.site, remarks))
        else:
            click.echo(report.text(results[0], voice, remarks, screen))
        return
    before, after = results
    caution = app.household.collection.habits.caution
    if as_json:
        print_json(comparison.document(before, after, changes, app.site, remarks, caution))
    else:
        click.echo(
            comparison.text(
                before,
                after,
                changes,
                voice,
                remarks,
                screen,
                judged_alike=judged_alike,
                caution=caution,
            )
        )
