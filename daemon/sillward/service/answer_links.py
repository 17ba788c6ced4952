"""The links by which a notice can be answered, and what a link that comes back stands for.

A link answers what its notice told and nothing else. What that was is not stored: it is found
again from the state in which the chores were at that moment, and compared with a digest in the
link. If it is not the same any more, since an hour was moved, plants have joined or go to another
spot, nothing is taken as done.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import date, datetime, timedelta
from hashlib import sha256

from sillward.ledger import Alarm, Notice, Stage, StoredChore
from sillward.links.page_links import PageLinks
from sillward.links.token import TOLD_BYTES, Purpose, Token, can_tell, digest
from sillward.service import due_rounds
from sillward.service.context import ServiceContext
from sillward.wording.push import Button, Links
from sillward.wording.voice import Voice
from sillward_rules.chore import URGENT, ChoreKind

GRACE = timedelta(hours=1)
"""How long a link acts beyond its round and the deadlines of its orders. Judgement: who comes in
from the garden answers then."""

TRIED_WITHIN = timedelta(days=1)
"""How long the link of a trial shows that links work."""

NOT_ACTS = frozenset({ChoreKind.STAY_IN, ChoreKind.STOP_WETTING})
"""Kinds of chores that ask for nothing to be done, and so cannot be done."""

_OF_CHANGES = (Stage.CHANGE, Stage.ALARM)

_REPEATED: dict[Stage, Callable[[StoredChore], datetime | None]] = {
    Stage.REMINDER: lambda chore: chore.reminded_at,
    Stage.PASSED_ON: lambda chore: chore.passed_on_at,
}
"""Stages that repeat what was told, and when a chore was repeated in each."""


def links_for(context: ServiceContext, notice: Notice, person: str | None) -> Links | None:
    """Return the links of a notice that is about to be sent; None if it needs none.

    One that asks for nothing that a link could answer leads to the page, if it is about a night or
    a day: it may ask a question, or for plants to be kept in.

    person: who reads the channel, if that is known.
    """
    page = context.links
    if page is None or notice.stage is Stage.CALL_OFF:
        return None
    if not can_tell(notice.round):
        return _page_alone(page, context.voice) if _is_about_tonight(notice) else None
    now = context.clock().replace(microsecond=0)
    day = date.fromisoformat(notice.day)
    told = _told(context, notice.round, day, notice.stage, notice.change_number, now)
    told = [chore for chore in told if chore.open]
    if not told:
        return _page_alone(page, context.voice)
    token = Token(
        Purpose.ANSWER,
        digest(context.site.name),
        now,
        _acts_until(context, notice, day, told),
        notice.round,
        day,
        notice.stage.value,
        notice.change_number,
        digest(person),
        _digest_of(told),
    )
    return _links(context, page.tap(token), told)


def _is_about_tonight(notice: Notice) -> bool:
    return notice.subject.kind is Alarm.NO_FORECAST and not notice.subject.is_over


def _page_alone(page: PageLinks, voice: Voice) -> Links:
    """Return the links of what is not answered by one: all that is to do."""
    button = Button(voice.say("answer_page"), page.page)
    return Links((button,), page.page, (voice.say("page_at", address=page.page),))


def _links(context: ServiceContext, address: str, told: Sequence[StoredChore]) -> Links:
    page, voice = context.links, context.voice
    assert page is not None
    plants = {name for stored in told if (chore := context.chore(stored)) for name in chore.plants}
    is_urgent = told[0].kind in URGENT
    done = voice.say("answer_done", count=len(plants) if is_urgent else 0)
    buttons = [Button(done, address, acts=True)]
    if len(plants) > 1 or len(told) > 1:
        buttons.append(Button(voice.say("answer_but"), address))
    buttons.append(Button(voice.say("answer_page"), page.page))
    lines = voice.say("answer_at", address=address), voice.say("page_at", address=page.page)
    return Links(tuple(buttons), address, lines)


def trial_links(page: PageLinks, voice: Voice, now: datetime) -> Links:
    """Return links that show that links work, and answer nothing."""
    at = now.replace(microsecond=0)
    token = Token(Purpose.TRY, digest(voice.site.name), at, at + TRIED_WITHIN)
    address = page.tap(token)
    buttons = (
        Button(voice.say("answer_done", count=0), address, acts=True),
        Button(voice.say("answer_page"), page.page),
    )
    return Links(buttons, address, (voice.say("answer_at", address=address),))


def told_with(context: ServiceContext, token: Token) -> list[StoredChore] | None:
    """Return what the notice of a link told, in the state that it is in now.

    Return None if it is not the same any more: hours or spots have changed, plants have joined or
    were called off, or it was told while the clock was wrong.
    """
    return next((told for told in _perhaps(context, token) if _digest_of(told) == token.told), None)


def open_now(context: ServiceContext, token: Token) -> list[StoredChore]:
    """Return what is open now of the round that a link is about, orders or else other chores."""
    now = context.clock().replace(microsecond=0)
    told = _told(context, token.round, token.day, Stage.TOLD, 0, now)
    return [chore for chore in told if chore.open]


def person_of(context: ServiceContext, token: Token) -> str | None:
    """Return for whom a link was made; None if no channel is theirs any more, or nobody's."""
    helpers = context.ledger.absences.of_site(context.site.name)
    persons = [channel.person for channel in context.channels]
    persons += [absence.person for absence in helpers]
    return next((name for name in persons if name and digest(name) == token.person), None)


def _perhaps(context: ServiceContext, token: Token) -> Iterator[list[StoredChore]]:
    """Yield what the notice of a link may have told, the likeliest first.

    A reminder told what had been reminded of by then and was not put off. But a chore keeps only
    the last hour of each: one that was put off later, reminded of again or taken back has lost the
    hours that counted for an earlier reminder. It is one of few sets all the same.
    """
    stage, at = Stage(token.stage), token.told_at
    yield _told(context, token.round, token.day, stage, token.change, at)
    if stage in _REPEATED:
        chores = _open_at(context, token.round, token.day, at)
        for hour in sorted({hour for chore in chores if (hour := _REPEATED[stage](chore))}):
            yield _orders_alone(chore for chore in chores if _is_by(_REPEATED[stage](chore), hour))
        yield _orders_alone(chores)


def _told(
    context: ServiceContext, round_: str, day: date, stage: Stage, change: int, at: datetime
) -> list[StoredChore]:
    """Return the chores that a notice of this stage asks for if it is worded at this moment.

    Those that were closed since are among them.
    """
    chores = _open_at(context, round_, day, at)
    if stage in _REPEATED:
        chores = [
            chore
            for chore in chores
            if _is_by(_REPEATED[stage](chore), at) and not chore.is_put_off(at)
        ]
    elif stage in _OF_CHANGES:
        since = context.ledger.rounds.enqueued_at(context.site.name, round_, day, change)
        chores = [
            chore
            for chore in chores
            if since is not None and chore.changed_at is not None and chore.changed_at >= since
        ]
    return _orders_alone(chores)


def _open_at(context: ServiceContext, round_: str, day: date, at: datetime) -> list[StoredChore]:
    """Return the chores of a round that were open at a moment and ask for something to be done."""
    return [
        chore
        for chore in context.ledger.chores.of_day(context.site.name, day)
        if chore.round == round_ and _was_open(chore, at) and chore.kind not in NOT_ACTS
    ]


def _orders_alone(chores: Iterable[StoredChore]) -> list[StoredChore]:
    """Return the orders, or all if there is none: a button that says "done" must not be about
    anything else."""
    chores = list(chores)
    return [chore for chore in chores if chore.kind in URGENT] or chores


def _was_open(chore: StoredChore, at: datetime) -> bool:
    """Whether a chore was open at a moment; one that was closed within the same second was."""
    closed = chore.done_at, chore.called_off_at, chore.declined_at
    return all(moment is None or moment >= at for moment in closed)


def _is_by(moment: datetime | None, at: datetime) -> bool:
    return moment is not None and moment <= at


def _acts_until(
    context: ServiceContext, notice: Notice, day: date, told: Iterable[StoredChore]
) -> datetime:
    """Return when the links of a notice stop to act: after its round, and all hours in it."""
    rounds = due_rounds.of_day(context.site, context.household.rounds, day)
    kind = notice.subject.round
    ends = [occasion.until for occasion in rounds if occasion.round is kind]
    return max([notice.expires_at, *ends, *(chore.before for chore in told)]) + GRACE


def _digest_of(chores: Iterable[StoredChore]) -> bytes:
    """Return what stands for these chores: kinds, hours, spots and plants, however they are
    grouped."""
    orders = set[str]()
    for stored in chores:
        chore, hour = stored.chore, int(stored.before.timestamp())
        what = f"{chore.kind.value}\0{hour}\0{chore.from_spot}\0{chore.to_spot}"
        orders |= {f"{what}\0{name}" for name in chore.plants}
    return sha256("\n".join(sorted(orders)).encode()).digest()[:TOLD_BYTES]
