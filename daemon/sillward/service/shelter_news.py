"""Which shelters that will not hold have been told: each once, and again when it gets worse.

The daily rounds tell it once; the sheet of the week has all of them every time. What was told is a
mark in the ledger. It counts as told only once its round has reached somebody.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any, Self

from sillward.ledger import Ledger
from sillward.service.due_rounds import Occasion
from sillward_rules.remark import ShelterFailing
from sillward_rules.sheet import Round, Sheet

TOLD_MARK = "shelters told"
"""The mark that holds it, followed by the site."""

WORSE_K = 1.0
"""So much colder than told it is told again [K]. Judgement: forecasts of a night ahead change by a
degree from day to day."""

TOLD_FOR = timedelta(days=7)
"""It is told again after this long. Judgement: a cold spell rarely lasts longer, and the weekly
sheet has repeated it by then."""


@dataclass(frozen=True, slots=True)
class _Told:
    """What was told of one shelter: in which round, and the facts that count."""

    round: str
    day: date
    first: date
    last: date
    low_c: float
    plants: frozenset[str]

    @classmethod
    def read(cls, facts: Mapping[str, Any]) -> Self:
        """Read what `written` has returned."""
        day, first, last = (date.fromisoformat(facts[name]) for name in ("day", "first", "last"))
        plants = frozenset(str(name) for name in facts["plants"])
        return cls(str(facts["round"]), day, first, last, float(facts["low_c"]), plants)

    def written(self) -> dict[str, Any]:
        """Return plain types for JSON."""
        days = {"day": self.day, "first": self.first, "last": self.last}
        return {
            "round": self.round,
            **{name: day.isoformat() for name, day in days.items()},
            "low_c": round(self.low_c, 2),
            "plants": sorted(self.plants),
        }

    def covers(self, remark: ShelterFailing, today: date) -> bool:
        """Return whether a remark says nothing that matters beyond this."""
        a_day = timedelta(days=1)
        return (
            today - self.day < TOLD_FOR
            and self.first <= remark.nights[0] <= self.last + a_day
            and remark.low_c > self.low_c - WORSE_K
            and self.plants.issuperset(remark.plants)
        )


def without_old_news(sheet: Sheet, occasion: Occasion, site: str, ledger: Ledger) -> Sheet:
    """Return the sheet of a daily round without the shelters that were told on an earlier one."""
    failing = [remark for remark in sheet.warnings if isinstance(remark, ShelterFailing)]
    if not failing or sheet.round is Round.WEEK:
        return sheet
    told = _told(ledger, site)
    delivered = {
        spot: known
        for spot, known in told.items()
        if ledger.rounds.was_delivered(site, known.round, known.day)
    }
    old = {
        remark.spot
        for remark in failing
        if remark.spot in delivered
        and delivered[remark.spot].covers(_of_spot(failing, remark.spot), occasion.day)
    }
    kept = tuple(
        remark
        for remark in sheet.warnings
        if not (isinstance(remark, ShelterFailing) and remark.spot in old)
    )
    return replace(sheet, warnings=kept)


def remember(sheet: Sheet, occasion: Occasion, site: str, ledger: Ledger, now: datetime) -> None:
    """Keep which shelters the sheet of a daily round has told, in place of what was told before."""
    failing = [remark for remark in sheet.warnings if isinstance(remark, ShelterFailing)]
    if not failing or sheet.round is Round.WEEK:
        return
    told = _told(ledger, site)
    for spot in {remark.spot for remark in failing}:
        remark = _of_spot(failing, spot)
        told[spot] = _Told(
            occasion.name,
            occasion.day,
            remark.nights[0],
            remark.nights[-1],
            remark.low_c,
            frozenset(remark.plants),
        )
    recent = {
        spot: known.written() for spot, known in told.items() if occasion.day - known.day < TOLD_FOR
    }
    ledger.marks.set(_mark(site), now, json.dumps(recent))


def _of_spot(remarks: Sequence[ShelterFailing], spot: str) -> ShelterFailing:
    """Return all that is said of a spot as one remark, with all of its plants."""
    of_spot = [remark for remark in remarks if remark.spot == spot]
    return replace(of_spot[0], plants=tuple(name for remark in of_spot for name in remark.plants))


def _mark(site: str) -> str:
    return f"{TOLD_MARK}, {site}"


def _told(ledger: Ledger, site: str) -> dict[str, _Told]:
    """Return what was told of each spot; nothing if it cannot be read."""
    mark = ledger.marks.get(_mark(site))
    if mark is None:
        return {}
    try:
        return {str(spot): _Told.read(facts) for spot, facts in json.loads(mark.text).items()}
    except (AttributeError, KeyError, TypeError, ValueError):
        return {}
