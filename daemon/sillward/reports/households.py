"""How all households of a folder stand: a line each, those with troubles first."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sillward.config.households import MAX_NAME
from sillward.errors import one_line
from sillward.ledger import Ledger
from sillward.reports import providers
from sillward.reports.providers import Provider
from sillward.service import other_runs, updates
from sillward.service.health import DAEMON_GONE_AFTER, TICK_MARK
from sillward.service.house_troubles import kept_troubles
from sillward.service.households_status import standings

MAX_LINE = 240
"""Characters of a household's line. Judgement: three lines of a terminal."""

NOT_LOOKED_AT = "has not been looked at yet"


def document(
    shared: Ledger, names: Sequence[str], now: datetime, asked: Sequence[Provider] = ()
) -> dict[str, Any]:
    """Return the state of all households as a JSON document.

    shared: the ledger that they share; names: of those in the folder.
    asked: the providers of forecasts that are asked for them.
    """
    known, update = standings(shared), updates.latest_update(shared, now)
    there = {one_line(name, MAX_NAME) for name in names}
    new = sorted(there - {each.name for each in known})
    households = [
        {
            "household": each.name,
            "troubles": each.troubles,
            "state": each.line,
            "since": each.at.isoformat(),
        }
        for each in known
        if each.name in there
    ]
    households += [
        {"household": name, "troubles": 0, "state": NOT_LOOKED_AT, "since": None} for name in new
    ]
    return {
        "schema": 1,
        "at": now.isoformat(),
        "update": None if update is None else update.line(_utc(update.at)),
        "troubles": [
            *_troubles(shared, now),
            *_of_runs(shared),
            *kept_troubles(shared, now, DAEMON_GONE_AFTER),
            *updates.not_restarted(shared, now, _utc),
        ],
        "providers": providers.document(shared, asked, now),
        "in_trouble": sum(bool(each["troubles"]) for each in households),
        "households": households,
    }


def _troubles(shared: Ledger, now: datetime) -> Sequence[str]:
    tick = shared.marks.get(TICK_MARK)
    if tick is None or now - tick.at > DAEMON_GONE_AFTER:
        since = "" if tick is None else f" since {_utc(tick.at)}"
        return [f"`sillward run` has done nothing{since}"]
    return []


def _of_runs(shared: Ledger) -> Sequence[str]:
    trouble = other_runs.trouble(shared, other_runs.HOUSEHOLDS, other_runs.HOUSEHOLDS)
    return [] if trouble is None else [trouble]


def _utc(at: datetime) -> str:
    return f"{at:%Y-%m-%d %H:%M} UTC"


def text(document: dict[str, Any]) -> str:
    """Return it as text."""
    households = document["households"]
    count, wrong = len(households), document["in_trouble"]
    lines = [f"{count} household{'' if count == 1 else 's'}, {wrong} in trouble"]
    lines += [f"! {trouble}" for trouble in document["troubles"]]
    lines += [] if document["update"] is None else [f"new: {document['update']}"]
    lines += providers.lines(document["providers"])
    widest = max((len(each["household"]) for each in households), default=0)
    lines += [
        one_line(
            f"{'!' if each['troubles'] else ' '} {each['household']:<{widest}}  {each['state']}",
            MAX_LINE,
        )
        for each in households
    ]
    return "\n".join(lines)
