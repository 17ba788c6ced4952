"""`sillward damage --none`: of which plants no damage is seen."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing

from sillward.assembly.app import App
from sillward.cli import shared
from sillward.cli.inquest_desk import Desk
from sillward.cli.printing import print_json, say
from sillward.errors import UsageError
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.ledger.tables.harmful_nights import HarmfulNight
from sillward.reports import damage as report
from sillward.reports import unharmed as unharmed_report
from sillward.service import unharmed
from sillward.service.chore_selection import ALL
from sillward.service.damage_questions import open_questions
from sillward.wording.voice import Voice
from sillward_rules.plants.plant import Plant


def answer_unharmed(app: App, names: str, by: str | None, *, undo: bool, as_json: bool) -> None:
    """Write down of which plants no damage is seen, or take that back, and say what that is about.

    names: several plants; nothing or "all" for those that are asked about, or for the last answer.
    Raise UsageError.
    """
    site, now = app.site, app.clock()
    plants = [] if names.lower() in ("", ALL) else shared.plants_named(app, names)
    opened = app.settings.ledger if app.has_ledger or not undo else IN_MEMORY
    with closing(Ledger(opened)) as ledger:
        if undo:
            nights = unharmed.take_back(ledger, site, {it.name for it in plants}, now, by)
            lines: Iterable[str] = _taken_back_lines(nights)
        else:
            desks = Desk.of_each(app, ledger, plants or _asked_about(app, ledger), now)
            answer = unharmed.no_damage_of_each(
                ledger,
                site,
                [desk.plant for desk in desks.values()],
                lambda plant: desks[plant.name].inquest(None).nights,
                now,
                by,
            )
            nights = answer.nights
            lines = _lines(answer, desks, app.household.voice)
        if as_json:
            print_json(unharmed_report.document(nights, site, now, taken_back=undo))
            return
        for line in lines:
            say(line)


def _taken_back_lines(nights: Sequence[HarmfulNight]) -> Iterator[str]:
    for name in dict.fromkeys(night.plant for night in nights):
        yield f"taken back: whether {name} took harm is open again"


def _lines(answer: unharmed.Unharmed, desks: Mapping[str, Desk], voice: Voice) -> Iterator[str]:
    """Yield what was answered, and what is learned from it, plant by plant."""
    for name, desk in desks.items():
        nights = [night for night in answer.nights if night.plant == name]
        today = desk.collection.site.local_date(desk.now)
        yield from report.no_damage_lines(name, nights, today, voice)
        # A look that is not the last one teaches nothing yet.
        taught = any(night.damaged is False for night in nights)
        news = desk.news() if taught else None
        if news is not None:
            yield from report.news_lines(name, news, desk.year(news), voice)
    yield from answer.reasons


def _asked_about(app: App, ledger: Ledger) -> list[Plant]:
    """Return the plants that are asked about. Raise UsageError if there are none."""
    collection = app.household.collection
    names = {night.plant for night in open_questions(ledger, collection, app.clock())}
    if not names:
        msg = "no plant is asked about; name one: sillward damage blue basket --none"
        raise UsageError(msg)
    return [plant for plant in collection.plants if plant.name in names]
