"""The daily round whose orders hold at a moment: what corrections and reminders are about."""

from datetime import date, datetime

from sillward.service import due_rounds
from sillward.service.context import ServiceContext
from sillward_rules import told_orders
from sillward_rules.sheet import Round
from sillward_rules.told_orders import RoundInForce


def round_in_force(context: ServiceContext, now: datetime) -> RoundInForce | None:
    """Return the round whose orders hold now; None if it has not been told."""
    rounds, site = context.ledger.rounds, context.site

    def is_told(round_: Round, day: date) -> bool:
        return rounds.enqueued_at(site.name, round_.value, day) is not None

    def dusk_on(day: date) -> datetime:
        of_day = due_rounds.of_day(site, context.household.rounds, day)
        return next(occasion.due_at for occasion in of_day if occasion.round is Round.DUSK)

    return told_orders.round_in_force(site, now, is_told, dusk_on)
