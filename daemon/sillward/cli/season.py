"""`sillward season`: when nights get cold and when they are safe again, by past years."""

from contextlib import closing
from pathlib import Path

import click

from sillward.archive import PastWeather, read_archive
from sillward.assembly.app import Options
from sillward.cli import shared
from sillward.cli.printing import print_json
from sillward.cli.progress import Progress
from sillward.config.household import Household
from sillward.errors import SourceError
from sillward.replay.period import whole_period
from sillward.replay.run import run
from sillward.reports import season as report
from sillward.service.season_memory import keep_season
from sillward.text import terminal
from sillward_rules.plants.collection import Collection
from sillward_rules.replay.engine import Plan
from sillward_rules.replay.forecasts import PerfectForecasts
from sillward_rules.replay.past_nights import past_nights
from sillward_rules.replay.season import SeasonOutlook, season_outlook, spots_in_question
from sillward_rules.replay.summary import walks_of_month


@click.command()
@shared.options(at=False, recorded=False)
@click.option(
    "--archive",
    required=True,
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Past weather, ideally ten years or more.",
)
@click.option(
    "--quick", is_flag=True, help="Leave out the walks, which need a replay of all of it."
)
@click.option(
    "--keep", is_flag=True, help="Keep the result, so that the week sheet can mention it."
)
def season(options: Options, as_json: bool, archive: Path, quick: bool, keep: bool) -> None:
    """Show when nights get too cold for your plants and when they become safe, by past years.

    For each spot and night limit it shows the likely first and last night below it and how many
    nights of each month are; then how many walks to expect in each month.

    Example: sillward season --archive ten-years.json --keep
    """
    app = shared.build(options)
    past = read_archive(archive, app.site)
    outlook = _outlook(app.household.collection, past)
    walks = None if quick else _walks(app.household, past)
    is_whole = quick or walks is not None
    voice, name = shared.voice_for(app, as_json=as_json), app.site.label
    if as_json:
        print_json(report.document(outlook, name, walks, past.remarks))
    else:
        click.echo(report.text(outlook, name, walks, voice, past.remarks, terminal.screen()))
    if not is_whole:
        kept = "; nothing is kept" if keep else ""
        click.echo(f"interrupted: walks are left out{kept}", err=True)
        click.get_current_context().exit(1)
    if keep:
        with closing(app.open_ledger()) as ledger:
            count = keep_season(ledger, app.household.collection, outlook, app.clock())
        dates = "limit" if count == 1 else "limits"
        click.echo(f"kept for the week sheet: when nights are safe for {count} {dates}", err=True)


def _outlook(collection: Collection, past: PastWeather) -> SeasonOutlook:
    spots = spots_in_question(collection)
    progress = Progress("hours looked at", past.weather.times.size)
    nights = past_nights(collection.site, spots, past.weather, progress.share)
    if not len(nights.low_c):
        msg = f"{past.weather.source}: has no night of this place"
        raise SourceError(msg)
    return season_outlook(collection, nights)


def _walks(household: Household, past: PastWeather) -> dict[int, float] | None:
    """Return the walks of each month, by a replay with forecasts that come true.

    None if it was interrupted: months that are left out would be years that count for nothing.
    """
    collection, policy = household.collection, household.policy
    period = whole_period(collection.site, past.weather)
    progress = Progress("nights replayed", period.nights)
    plan = Plan(
        collection,
        past.weather,
        PerfectForecasts(past.weather),
        period.first,
        period.last,
        moved_by=policy.moved_by,
        max_messages=policy.max_messages,
    )
    (result,) = run([plan], lambda _: progress.one_more())
    return walks_of_month(result.nights) if result.complete else None
