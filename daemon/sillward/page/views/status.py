"""How the service is: what is wrong, what comes next; a plain list of further pages; and one word
for a monitor."""

from dataclasses import replace
from typing import Any

from werkzeug.wrappers import Response

from sillward import __version__
from sillward.errors import LedgerError
from sillward.page.desk import BusyError
from sillward.page.route import Access, Route
from sillward.page.visit import Visit
from sillward.reports import status as report
from sillward.service.health import FORECAST_IS, is_at_work
from sillward.text.columns import Cell, Marked
from sillward.wording.voice import capital

MORE = (
    ("told", "What was told", "Each message, and whether it arrived"),
    ("log", "Log", "Who did what"),
    ("away", "Away", "Who looks after the plants in your place, and the list for them"),
    ("phones", "Phones", "Which phones get messages from this page; add this one"),
    ("status", "Status", "What is wrong, if anything is, and what comes next"),
)
"""The pages that the page More leads to: names of routes, how they are called, what they show."""


def status(visit: Visit) -> Response:
    """Show what `sillward status` says."""
    context, voice = visit.context, visit.voice
    household = replace(context.household, collection=context.collection)
    document = report.document(household, context.updater, context.clock(), voice)
    wrong = [*document["troubles"], *document["questions"], *visit.desk.troubles()]
    return visit.page(
        "status.html",
        wrong=[(capital(text), _is_grave(text, document)) for text in dict.fromkeys(wrong)],
        facts=[
            (capital(_plain(what)[0]), *_plain(cell))
            for what, cell in report.facts(document, voice)
        ],
        sensors=[
            [*(_plain(cell)[0] for cell in row[:2]), *_plain(row[2])]
            for row in (report.sensor_row(sensor, voice) for sensor in document["sensors"])
        ],
        at=voice.date_and_hour(visit.now),
        obstacle=visit.desk.obstacle(),
        version=__version__,
    )


def _is_grave(text: str, document: dict[str, Any]) -> bool:
    """Whether a trouble has the colour of what is overdue: not a forecast that still serves."""
    serves = document["forecast"] is not None and document["forecast"]["state"] != "expired"
    return not (serves and text.startswith(FORECAST_IS))


def _plain(cell: Cell) -> tuple[str, bool]:
    """Return the text of a cell, and whether it is marked."""
    return (cell.text, cell.mark is not None) if isinstance(cell, Marked) else (cell, False)


def more(visit: Visit) -> Response:
    """List the further pages."""
    return visit.page("more.html", pages=MORE)


def health(visit: Visit) -> Response:
    """Return "ok" if the daemon has ticked of late, else "old" with status 503."""
    try:
        ok = is_at_work(visit.context.ledger, visit.context.clock())
    except (LedgerError, BusyError):
        ok = False
    return Response("ok\n" if ok else "old\n", 200 if ok else 503, content_type="text/plain")


ROUTES = (
    Route("/status", "status", status),
    Route("/more", "more", more),
    Route("/health", "health", health, access=Access.ANYBODY),
)
