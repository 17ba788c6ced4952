"""Alarms: what cannot wait for a round, in the words of a push. Each is told once."""

from datetime import datetime

from sillward.notices import phrases
from sillward.notices.short import Message, shortened
from sillward_rules.chore import ChoreKind
from sillward_rules.sheet import Sheet
from sillward_rules.site import Site


def blind(sheet: Sheet, since: datetime | None, why: str | None, site: Site) -> Message:
    """No forecast that one can go by: when there was one last, what it said, what to do.

    sheet: tonight's, drawn up from what there is. since: of when the last good forecast is.
    """
    title = "No forecast so far; treat tonight as cold"
    if since is not None:
        title = f"No forecast since {_day_and_hour(since, site)}; treat tonight as cold"
    lines = _under_cover(sheet, site)
    lows = _lows(sheet)
    lines.append(f"Last known for tonight: {lows}" if lows else "Nothing known of tonight")
    lines += [why] if why else []
    lines.append("Go by your own thermometer")
    return shortened(title, lines)


def sighted(sheet: Sheet, site: Site) -> Message:
    """There is a forecast again: whose, and what it says of tonight."""
    title = f"The forecast is back: {sheet.source}"
    lows = _lows(sheet)
    lines = [f"Tonight: {lows}"] if lows else []
    lines += _under_cover(sheet, site) or ["Nothing must be under cover, as far as is known"]
    return shortened(title, [*lines, "The rounds go by it again"])


def doubtful_clock(doubt: str) -> Message:
    """This machine's clock is wrong: notices come at the wrong time."""
    title = "The clock of this machine is wrong"
    lines = [
        doubt[0].upper() + doubt[1:],
        "Notices come at wrong times until it is set. Go by your own watch and thermometer",
    ]
    return shortened(title, lines)


def right_clock() -> Message:
    """The clock is right again."""
    return Message("The clock of this machine is right again", "Notices come in time again")


def no_ledger() -> Message:
    """Nothing can be written down: disk full, read-only or broken."""
    title = "Sillward can write nothing down"
    lines = [
        "Notices still go out. After a restart some may come twice, and what was done is forgotten",
        "Make room on the disk of its machine, or look at it",
    ]
    return shortened(title, lines)


def ledger_back() -> Message:
    """The ledger's file can be written again."""
    return Message("Sillward can write things down again", "Nothing is to do")


def history_reset(what: str) -> Message:
    """What was told and done is forgotten, wholly or in part."""
    title = "Sillward has lost part of its memory"
    lines = [
        phrases.capital(what),
        "A notice may come again. Where plants stand is guessed: read the next sheet with care",
    ]
    return shortened(title, lines)


def _lows(sheet: Sheet) -> str:
    """Tonight's low at each spot where it is known."""
    known = (f"{spot} {low:.1f} °C" for spot, low in sheet.lows.items() if low is not None)
    return ", ".join(known)


def _under_cover(sheet: Sheet, site: Site) -> list[str]:
    """How many plants must be under cover tonight, before when; where they are now is no matter."""
    tonight = [
        chore
        for chore in sheet.chores
        if chore.kind is ChoreKind.CARRY_IN
        or (chore.kind is ChoreKind.STAY_IN and chore.not_before is None)
    ]
    if not tonight:
        return []
    going = [chore.before for chore in tonight if chore.kind is ChoreKind.CARRY_IN]
    count = phrases.plants(len({name for chore in tonight for name in chore.plants}))
    by = phrases.clock(min(going), sheet.at, site) if going else "dusk"
    return [f"Under cover by {by}: {count}"]


def _day_and_hour(at: datetime, site: Site) -> str:
    return f"{at.astimezone(site.zone):%a %H:%M}"
