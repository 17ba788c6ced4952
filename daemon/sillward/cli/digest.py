"""`sillward digest`: the weekly mail as a page to look at."""

import webbrowser
from contextlib import closing, suppress
from pathlib import Path

import click

from sillward import files
from sillward.assembly import read_only
from sillward.assembly.app import Options
from sillward.assembly.desk_setup import desk_for_command
from sillward.cli import shared
from sillward.errors import ChartError, NotOursError, SourceError, UsageError
from sillward.service import weekly_mail_file
from sillward_rules.sheet import Round


@click.command()
@shared.options(as_json=False)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="FILE.html",
    default=Path("week.html"),
    help="Default: week.html in this folder.",
)
@click.option("--open", "show", is_flag=True, help="Show it in a browser.")
def digest(options: Options, out: Path, show: bool) -> None:
    """Write the weekly mail as a page to look at; nothing is sent.

    Example: sillward digest --open
    """
    app = shared.build(options)
    app, _ = shared.at_moment(app, Round.WEEK)
    _destination(out)  # to fail before the work, not after it
    with closing(read_only.ledger_to_read(app)) as ledger:
        desk = desk_for_command(app, ledger)
        with suppress(SourceError):  # the page says what it rests on
            desk.context.updater.fetch_now()
            desk.context.updater.refresh_due_members()
        mail = desk.weekly_mail.mail(app.site.local_date(app.clock()))
    try:
        files.write_to(_destination(out), weekly_mail_file.page_for_file(mail).encode())
    except OSError as error:
        msg = f"{out}: the page cannot be written: {error.strerror}"
        raise ChartError(msg) from None
    click.echo(f"{out}: {mail.title}")
    if show and not webbrowser.open(out.resolve().as_uri()):
        msg = f"no browser could be started; open {out} in one"
        raise ChartError(msg)


def _destination(out: Path) -> files.Destination:
    """Return where the page goes.

    Raise UsageError if something else is there, ChartError if that cannot be found out.
    """
    try:
        return files.destination(out, weekly_mail_file.is_ours, weekly_mail_file.HEAD_BYTES)
    except NotOursError as error:
        raise UsageError(str(error)) from None
    except OSError as error:
        msg = f"{out}: the page cannot be written: {error.strerror}"
        raise ChartError(msg) from None
