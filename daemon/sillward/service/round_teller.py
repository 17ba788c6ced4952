"""Telling a round: work out its sheet, word it for each channel, and enqueue the notices.

The notices, the chores, the plants' states and the fact that the round was told are written to the
ledger in one transaction. Sending them is the outbox's task.
"""

import logging
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from functools import partial

from sillward.config.channel import Channel
from sillward.ledger import Notice
from sillward.service import damage_questions, weekly_mail
from sillward.service.context import ServiceContext
from sillward.service.defects import Defects
from sillward.service.due_rounds import Occasion
from sillward.service.shelter_news import remember, without_old_news
from sillward.wording import follow_up
from sillward.wording.push import Message
from sillward_rules.chore import URGENT, Chore
from sillward_rules.plants.state import PlantState
from sillward_rules.sheet import Round, Sheet
from sillward_rules.told_orders import chores_of
from sillward_rules.transitions import first_states, next_state

MIN_SENDING_TIME = timedelta(minutes=5)
"""A notice may be sent for at least this long, however late its round is told."""

log = logging.getLogger(__name__)


@dataclass(slots=True)
class RoundTeller:
    """Tells the rounds of one household, each once."""

    context: ServiceContext
    defects: Defects

    def tell(self, occasion: Occasion) -> Sheet | None:
        """Work out a round and enqueue its notices; return None if it was told before."""
        context = self.context
        if context.ledger.rounds.enqueued_at(context.site.name, occasion.name, occasion.day):
            return None
        kind = occasion.round.value
        context.run.tally.rounds_due[kind] += 1
        has_forecast = context.has_forecast()
        sheet = self._with_news_only(occasion, context.sheet(occasion.round, context.weather()))
        notices = [
            self._notice(
                channel,
                occasion,
                self._words(channel, occasion, sheet),
                skip=not _is_worth_telling(sheet, channel),
            )
            for channel in context.channels_for(kind, occasion.day)
        ]
        self._save(occasion, notices, sheet, has_forecast=has_forecast)
        late = sheet.at - occasion.due_at
        context.run.tally.round_told(kind, late.total_seconds())
        with self.defects.contained("round.failed_to_remember", _details(occasion)):
            remember(sheet, occasion, context.site.name, context.ledger, context.clock())
            damage_questions.remember(
                sheet, context.household.collection, context.ledger, context.clock()
            )
        log.info(
            "round.told round=%s day=%s chores=%d",
            kind,
            occasion.day,
            len(sheet.chores),
        )
        return sheet

    def tell_or_admit_failure(self, occasion: Occasion) -> Sheet | None:
        """Tell a round as `tell` does; if a defect prevents it, tell the channels that rather than
        nothing, and return None."""
        return self.defects.contained("round.failed", _details(occasion)).attempt(
            partial(self.tell, occasion), otherwise=partial(self._admit_failure, occasion)
        )

    def _admit_failure(self, occasion: Occasion) -> None:
        words = self._without_sheet(occasion)
        notices = [
            self._notice(channel, occasion, words)
            for channel in self.context.channels_for(occasion.round.value, occasion.day)
        ]
        self._save(occasion, notices, None, has_forecast=False)
        self.context.run.tally.rounds_failed[occasion.round.value] += 1

    def _with_news_only(self, occasion: Occasion, sheet: Sheet) -> Sheet:
        """Return a sheet without what was told on an earlier one and is to be told once."""
        context = self.context
        return self.defects.contained("round.failed_to_recall", _details(occasion)).attempt(
            lambda: without_old_news(sheet, occasion, context.site.name, context.ledger),
            otherwise=lambda: sheet,
        )

    # -- words

    def _words(self, channel: Channel, occasion: Occasion, sheet: Sheet) -> Message:
        """Return what a channel is told; if a defect prevents it, the bare orders."""
        context = self.context
        return self.defects.contained("round.failed_to_word", _details(occasion)).attempt(
            lambda: context.message(channel, sheet, self._footer(channel, occasion)),
            otherwise=lambda: self._bare_orders(occasion, sheet),
        )

    def _bare_orders(self, occasion: Occasion, sheet: Sheet) -> Message:
        """Return the orders of a sheet and nothing else; if there are none, or a defect prevents
        it, that a round could not be worked out."""
        orders = [chore for chore in sheet.chores if chore.kind in URGENT]
        if not orders or occasion.round is Round.WEEK:
            return self._without_sheet(occasion)
        return self.defects.contained("round.failed_to_word", _details(occasion)).attempt(
            lambda: follow_up.orders_only(orders, sheet.at, self.context.voice),
            otherwise=lambda: self._without_sheet(occasion),
        )

    def _without_sheet(self, occasion: Occasion) -> Message:
        voice = self.context.voice
        title = voice.say("no_sheet", round=occasion.round.value)
        return Message(title, voice.say("without_sheet"))

    def _footer(self, channel: Channel, occasion: Occasion) -> list[str]:
        """Return the lines that end the text of a week round; other rounds have none."""
        if occasion.round is not Round.WEEK:
            return []
        return weekly_mail.footer(self.context, occasion.day, mail=channel.full_mail)

    # -- what is written down

    def _notice(
        self, channel: Channel, occasion: Occasion, message: Message, *, skip: bool = False
    ) -> Notice:
        until = max(occasion.until, self.context.clock() + MIN_SENDING_TIME)
        return self.context.notice(channel, occasion.name, occasion.day, message, until, skip=skip)

    def _save(
        self,
        occasion: Occasion,
        notices: list[Notice],
        sheet: Sheet | None,
        *,
        has_forecast: bool,
    ) -> None:
        """Write a round to the ledger, with its chores and what it means for the plants.

        sheet: None if it could not be worked out. A week is an outlook: nothing in it is to be
        confirmed, and no plant moves.
        """
        ledger, site = self.context.ledger, self.context.site
        enqueued_at = self.context.clock()
        chores: Sequence[Chore] = ()
        states: dict[str, PlantState] = {}
        states_after: dict[str, PlantState] = {}
        if sheet is not None and occasion.round is not Round.WEEK:
            enqueued_at = sheet.at
            known = ledger.plant_states.of_site(site.name)
            # What is still open from an earlier day has been written down already.
            chores = chores_of(sheet, occasion.day)
            states, states_after = first_states(known, sheet), next_state(known, sheet)
        ledger.keep_round(
            site.name,
            occasion.name,
            occasion.day,
            enqueued_at,
            notices=notices,
            chores=chores,
            states_now=states,
            states_once_delivered=states_after,
            had_forecast=has_forecast,
        )


def _is_worth_telling(sheet: Sheet, channel: Channel) -> bool:
    """Whether a channel is to get this sheet: a week always, since it shows that sillward runs."""
    has_content = bool(sheet.chores or sheet.warnings)
    return sheet.round is Round.WEEK or has_content or channel.all_clear


def _details(occasion: Occasion) -> str:
    return f"round={occasion.round} day={occasion.day}"
