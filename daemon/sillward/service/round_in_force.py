"""The daily round whose orders hold at a moment: what corrections and reminders are about."""

from dataclasses import dataclass
from datetime import date, datetime

from sillward.service import due_rounds
from sillward.service.context import ServiceContext
from sillward_rules.sheet import Round
from sillward_rules.weather import sun


@dataclass(frozen=True, slots=True)
class RoundInForce:
    """A daily round that has been told.

    until: the time until which its orders are worth following.
    """

    round: Round
    day: date
    until: datetime


def round_in_force(context: ServiceContext, now: datetime) -> RoundInForce | None:
    """Return the round whose orders hold now: tonight's dusk, else this morning until dusk.

    None if it has not been told.
    """
    rounds, site = context.ledger.rounds, context.site
    night = sun.night_at_or_after(site, now)
    if rounds.enqueued_at(site.name, Round.DUSK.value, night.day):
        return RoundInForce(Round.DUSK, night.day, night.end)
    today = site.local_date(now)
    if rounds.enqueued_at(site.name, Round.MORNING.value, today):
        of_today = due_rounds.of_day(site, context.household.rounds, today)
        dusk = next(occasion.due_at for occasion in of_today if occasion.round is Round.DUSK)
        if now < dusk:
            return RoundInForce(Round.MORNING, today, dusk)
    return None
