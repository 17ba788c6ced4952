"""`sillward away`: somebody else looks after the plants for some days, and is told what to do."""

from collections.abc import Iterator, Sequence
from contextlib import closing

import click

from sillward.assembly.app import Options
from sillward.assembly.desk_setup import desk_for_command
from sillward.cli import completion, shared
from sillward.cli.printing import print_json, say
from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.reports import absences as report
from sillward.service import absences
from sillward.service.context import ServiceContext
from sillward.text import terminal
from sillward.wording import helper_list

_HOW = "for example: sillward away fri 2026-12-13 Inés ines_phone"


@click.command()
@click.argument("words", nargs=-1, metavar="[FROM TO NAME CHANNEL]", shell_complete=completion.away)
@click.option("--note", default="", metavar="TEXT", help="What the list for NAME begins with.")
@click.option("--list", "show_list", is_flag=True, help="Print the list for NAME.")
@click.option("--end", is_flag=True, help="Stop telling NAME, or do not begin.")
@shared.options(recorded=False)
def away(
    options: Options,
    as_json: bool,
    words: tuple[str, ...],
    note: str,
    show_list: bool,
    end: bool,
) -> None:
    """Have NAME told too while you are away, through a CHANNEL of the collection.

    From FROM to TO, both included, NAME gets dusk, morning and alarms, and before that a list for
    someone who does not know your plants. Days are dates (2026-12-04), today, tomorrow, or weekdays
    (fri). Without arguments it shows who is told and when.

    Example: sillward away fri 2026-12-13 Inés ines_phone
    """
    app = shared.build(options)
    enters = bool(words) and not (show_list or end)
    with closing(app.open_ledger() if enters or app.has_ledger else Ledger(IN_MEMORY)) as ledger:
        context = desk_for_command(app, ledger).context
        coming = absences.not_over(context)
        if show_list:
            absence = absences.one_of(coming, " ".join(words))
            shown = absences.list_for(context, absence)
            click.echo(helper_list.text(shown, terminal.sheet_columns()), nl=False)
        elif as_json:
            print_json(report.document(coming, app.site))
        else:
            for line in _lines(context, words, note, end=end):
                say(line)


def _lines(context: ServiceContext, words: Sequence[str], note: str, *, end: bool) -> Iterator[str]:
    """Do what is asked, and yield what came of it."""
    voice, coming = context.voice, absences.not_over(context)
    if end:
        absence = absences.one_of(coming, " ".join(words))
        absences.end(context, absence)
        if absence.briefed_at is None:
            yield f"{absence.person} will not be told"
        else:
            yield f"{absence.person} will get no more messages, and is told so now"
    elif words:
        yield from _entered(context, words, note)
    else:
        yield from report.lines(coming, voice)


def _entered(context: ServiceContext, words: Sequence[str], note: str) -> Iterator[str]:
    """Record an absence. Raise UsageError."""
    if len(words) < len(("from", "to", "name", "channel")):
        msg = f"say from when to when, who is told, and the channel, {_HOW}"
        raise UsageError(msg)
    first_word, last_word, *name, channel = words
    today = context.site.local_date(context.clock())
    first = absences.day_named(first_word, today)
    last = absences.day_named(last_word, today, first)
    absence = absences.enter(context, first, last, " ".join(name), channel, note)
    voice, at = context.voice, absences.briefed_from(context, absence)
    when = "now" if at <= context.clock() else voice.date_and_hour(at)
    yield f"{absence.person} will be told too, {report.days(absence, voice)}"
    yield f"the list goes to {absence.channel} {when}; `sillward away --list` prints it"
