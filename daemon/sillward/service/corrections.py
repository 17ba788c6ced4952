"""Corrections: what a newer forecast changes about a round that has been told, told once."""

import logging
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from typing import Any

from sillward.config.household import Channel
from sillward.ledger import Notice, NoticeState, Stage, StoredChore
from sillward.ledger.chore_codec import of_chore
from sillward.ledger.records import to_text
from sillward.service import due_rounds
from sillward.service.context import ServiceContext
from sillward.wording import follow_up
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.revision import (
    CORRECTED,
    Order,
    Revision,
    hour_of,
    revise,
    safe_outside,
)
from sillward_rules.sheet import Round, Sheet
from sillward_rules.transitions import after_revision
from sillward_rules.weather import sun

KEPT_FOR_MORE = 2
"""Of the most messages of a round so many are kept for what is more to do. Judgement."""

_CHANGES = frozenset({Stage.CHANGE, Stage.CALL_OFF})

log = logging.getLogger(__name__)


def told_rounds(context: ServiceContext, now: datetime) -> list[tuple[Round, date, datetime]]:
    """The daily round whose orders hold now, if it has been told: its day, and until when."""
    night = sun.night_at_or_after(context.site, now)
    if context.ledger.rounds.told_at(context.site.name, Round.DUSK.value, night.day):
        return [(Round.DUSK, night.day, night.end)]
    today = context.site.local_date(now)
    if context.ledger.rounds.told_at(context.site.name, Round.MORNING.value, today):
        of_today = due_rounds.of_day(context.site, context.household.rounds, today)
        dusk = next(one.due_at for one in of_today if one.round is Round.DUSK)
        if now < dusk:
            return [(Round.MORNING, today, dusk)]
    return []


@dataclass(slots=True)
class Corrections:
    """Compares what was told with each new forecast."""

    context: ServiceContext
    _compared: dict[Round, object] = field(default_factory=dict)
    """For each round the day and the forecast that it was compared with last."""

    def look(self) -> None:
        """Put down a correction if a newer forecast asks for one."""
        context = self.context
        if not context.has_forecast():
            return
        for round_, day, until in told_rounds(context, context.clock()):
            newest = (day, context.keeper.shelf.edition(context.site))
            if self._compared.get(round_) != newest:
                self._compare(round_, day, until)
                self._compared[round_] = newest

    def compare_anew(self) -> None:
        """Compare what was told at the next look, though the forecast be the same."""
        self._compared.clear()

    def _compare(self, round_: Round, day: date, until: datetime) -> None:
        context = self.context
        weather, state = context.weather(), context.states()
        sheet = context.sheet(round_, weather)
        chores = [
            one
            for one in context.ledger.chores.of_day(context.site.name, day)
            if one.round == round_.value and ChoreKind(one.kind) in CORRECTED
        ]
        revision = revise(
            [order for one in chores if one.open and (order := _order(context, one)) is not None],
            sheet,
            cache(lambda: safe_outside(context.household.collection, weather, state, sheet.at)),
            {(ChoreKind(one.kind), name) for one in chores if one.done_at for name in one.plants},
            context.household.policy.moved_by,
            context.household.collection.habits.out_after,
        )
        if revision:
            self._tell(round_, day, until, sheet, revision, chores)

    def _tell(
        self,
        round_: Round,
        day: date,
        until: datetime,
        sheet: Sheet,
        revision: Revision,
        chores: Sequence[StoredChore],
    ) -> None:
        context = self.context
        name = context.site.name
        of_round = context.ledger.notices.of_round(name, round_.value, day, stage=None)
        # A change that still waits may be untrue by now, and would come after this one.
        unheard = [
            one for one in of_round if one.state is NoticeState.WAITING and one.stage in _CHANGES
        ]
        counts = Counter(context.ledger.notices.count_by_channel(name, round_.value, day))
        counts -= Counter(one.channel for one in unheard)
        most = context.household.policy.max_messages
        told = self._who_was_told(round_, of_round, revision)
        room = most if revision.added else max(1, most - KEPT_FOR_MORE)
        able = [one for one in told if counts[one.name] < room]
        if told and not able:
            log.warning("change.not_told round=%s day=%s most=%d", round_.value, day, most)
            return
        change = context.ledger.rounds.change_count(name, round_.value, day) + 1
        behind = {one.channel for one in unheard}
        more = bool(revision.added or revision.moved)
        # What is off is news until the hour at which it would have been done.
        good_until = until if more else max(one.at for one in revision.called_off)
        quiet_until = context.household.rounds.quiet.until(context.site, sheet.at)
        asleep = not more and quiet_until is not None and good_until <= quiet_until

        def notice(channel: Channel) -> Notice:
            stage, good_for, silent = Stage.CHANGE, until, False
            if channel.name in behind:
                words = context.message(channel, sheet)
            else:
                last = counts[channel.name] + 1 >= most
                words = follow_up.change(revision, sheet, context.voice, last=last)
                stage = Stage.CHANGE if more else Stage.CALL_OFF
                good_for, silent = good_until, asleep
            return context.notice(
                channel,
                f"{round_.value} change {change}",
                day,
                words,
                good_for,
                round_=round_.value,
                change=change,
                stage=stage,
                silent=silent,
            )

        documents, called_off = patched(chores, revision, sheet.at, context)
        context.ledger.keep_change(
            name,
            round_.value,
            change,
            day,
            sheet.at,
            notices=[notice(channel) for channel in able],
            chores=documents,
            called_off=called_off,
            after=after_revision(
                context.ledger.states_after(name, round_.value, day), sheet, revision
            ),
            instead_of=[one.key for one in unheard],
        )
        log.info(
            "change.told round=%s day=%s added=%d moved=%d called_off=%d",
            round_.value,
            day,
            len(revision.added),
            len(revision.moved),
            len(revision.called_off),
        )

    def _who_was_told(
        self, round_: Round, of_round: Sequence[Notice], revision: Revision
    ) -> list[Channel]:
        """Channels that the round reached, or may have, by a change or a reminder too.

        One where it still waits gets the newest words when it is sent; where a change waits, what
        comes after it too. What is more to do goes also to those that had nothing to hear of so
        far, and alone not to those that are told what others do not acknowledge, unless they have
        been told of a change: who heard "may stay out" must hear that it is off again.
        """
        more = bool(revision.added)
        heard: dict[str, bool] = {}
        for notice in of_round:
            quiet = more and notice.state is NoticeState.NOT_NEEDED
            heard[notice.channel] = heard.get(notice.channel, False) or _out(notice) or quiet
        listening = [one.name for one in self.context.listening(round_)]
        others = bool(revision.moved or revision.called_off)
        follow = {one.channel for one in of_round if one.stage in _CHANGES and _out(one)}
        return [
            one
            for one in self.context.household.channels
            if (
                heard.get(one.name, more)
                if one.name in listening
                else heard.get(one.name) and (others or one.name in follow)
            )
        ]


def _out(notice: Notice) -> bool:
    change_to_come = notice.state is NoticeState.WAITING and notice.stage in _CHANGES
    return (
        notice.state in (NoticeState.SENT, NoticeState.SENDING)
        or notice.perhaps_sent > 0
        or change_to_come
    )


def _order(context: ServiceContext, stored: StoredChore) -> Order | None:
    """A stored chore as it was told; None if its plants are no more."""
    chore = context.chore(stored)
    if chore is None:
        return None
    return Order(chore.id, chore.kind, chore.plants, chore.from_spot, chore.to_spot, hour_of(chore))


def patched(
    chores: Sequence[StoredChore], revision: Revision, at: datetime, context: ServiceContext
) -> tuple[list[dict[str, Any]], list[str]]:
    """The chores that a revision changes, as they are from now on, and the ids of those that go.

    Every plant leaves the chore that it was in, and joins one at its new hour. What has changed is
    marked with the time `at`.
    """
    now = {one.id: one.document for one in chores if one.open}
    taken = {one.id for one in chores if not one.open}
    leaving: dict[tuple[str, str], None] = {
        (order.kind.value, name): None for order in revision.called_off for name in order.plants
    }
    arriving: list[Chore] = [*revision.added, *(one.chore for one in revision.moved)]
    leaving |= {(one.kind.value, name): None for one in arriving for name in one.plants}
    after = {key: _rest(document, leaving) for key, document in now.items()}
    gone = {key for key, document in after.items() if not document["plants"]}
    kept = {key: document for key, document in after.items() if key not in gone}
    for chore in arriving:
        _join(kept, {**of_chore(chore, context.site), "changed": to_text(at)}, taken)
    changed = [document for key, document in kept.items() if document != now.get(key)]
    return changed, sorted(gone - kept.keys())


def _rest(document: Mapping[str, Any], leaving: Mapping[tuple[str, str], None]) -> dict[str, Any]:
    """The chore without the plants that leave it."""
    stay = [name for name in document["plants"] if (document["chore"], name) not in leaving]
    because = [one for one in document["because"] if one["plant"] in stay]
    return {**document, "plants": stay, "because": because}


def _join(kept: dict[str, dict[str, Any]], new: dict[str, Any], taken: set[str]) -> None:
    """Put a chore to the one of its way and hour, or beside the others under an id of its own."""
    base, number = new["id"], 1
    while True:
        key = base if number == 1 else f"{base}-{number}"
        known = kept.get(key)
        if known is None and key not in taken:
            kept[key] = {**new, "id": key}
            return
        if known is not None and all(
            known[one] == new[one] for one in ("before", "not_before", "to")
        ):
            kept[key] = {
                **known,
                "changed": new["changed"],
                "plants": [*known["plants"], *new["plants"]],
                "because": [*known["because"], *new["because"]],
            }
            return
        number += 1
