"""`sillward course`: how far courses have come; end one, or go on with it after all."""

from collections.abc import Sequence
from contextlib import closing

import click

from sillward.assembly.app import App, Options
from sillward.cli import answering, completion, shared
from sillward.cli.printing import print_json, say
from sillward.config.validation import did_you_mean
from sillward.errors import UsageError, one_line
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.reports import course as report
from sillward.service import course_answers
from sillward.text import terminal
from sillward_rules.plants.feeds import Course


@click.command()
@click.argument("words", nargs=-1, metavar="[NAME]", shell_complete=completion.courses)
@click.option("--end", "ends", is_flag=True, help="It is over as of now.")
@click.option("--resume", is_flag=True, help="It is not over after all.")
@click.option("--plant", metavar="PLANT", help="Only for this plant.")
@answering.by_person
@shared.options(recorded=False)
def course(
    options: Options,
    as_json: bool,
    words: tuple[str, ...],
    ends: bool,
    resume: bool,
    plant: str | None,
    person: str | None,
) -> None:
    """Show how far each course has come, or the one called NAME, and what the leaves looked like.

    A course ends on its last day, if it has one, or when you say so: for all of its plants, or for
    one of them.

    Example: sillward course --end magnesium
    """
    if ends and resume:
        msg = "choose one of --end and --resume"
        raise UsageError(msg)
    app = shared.build(options)
    by = answering.person_named(app, person)
    name = " ".join(words)
    if (ends or resume) and not name:
        msg = "say which course, for example: sillward course --end magnesium"
        raise UsageError(msg)
    courses = app.household.collection.courses
    chosen = [_course_named(courses, name)] if name else courses
    writes = ends or resume
    with closing(app.open_ledger() if writes or app.has_ledger else Ledger(IN_MEMORY)) as ledger:
        if writes:
            said = _answered(app, ledger, chosen[0], plant, by, over=ends)
            if not as_json:
                say(said)
                return
        only = None if plant is None else shared.plant_named(app, plant).name
        document = report.document(app.household.collection, ledger, app.clock(), chosen, only)
    if as_json:
        print_json(document)
    else:
        click.echo(report.text(document, app.household.voice, terminal.screen()))


def _course_named(courses: Sequence[Course], name: str) -> Course:
    """Return the course of this name, or the only one whose name contains it. Raise UsageError."""
    wanted = " ".join(name.lower().split())
    exact = [one for one in courses if one.name.lower() == wanted]
    found = exact or [one for one in courses if wanted in one.name.lower()]
    if len(found) == 1:
        return found[0]
    names = [one.name for one in found or courses]
    what = "more than one course" if found else "not a course"
    known = ", ".join(names) or "there are none"
    near = "" if found else did_you_mean(name, names)
    msg = f'"{one_line(name, 60)}" is {what} here ({known}){near}'
    raise UsageError(msg)


def _answered(
    app: App, ledger: Ledger, chosen: Course, plant: str | None, by: str | None, *, over: bool
) -> str:
    """Write down that a course is over, or goes on, and return that in words. Raise UsageError."""
    collection = app.household.collection
    names = [one.name for one in collection.plants if chosen.plants.includes(one)]
    if plant is not None:
        wanted = shared.plant_named(app, plant).name
        if wanted not in names:
            msg = f'"{wanted}" has no part in {chosen.name} ({", ".join(names)})'
            raise UsageError(msg)
        names = [wanted]
    changed = course_answers.end(ledger, collection, chosen.name, names, app.clock(), by, over=over)
    if not changed:
        state = "over already" if over else "not ended"
        return f"{chosen.name} is {state} for {', '.join(names)}"
    return f"{chosen.name} {'is over' if over else 'goes on'} for {', '.join(changed)}"
