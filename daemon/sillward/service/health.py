"""What is wrong, if anything is: for `status`, the heartbeat and whoever looks from outside."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from sillward import files
from sillward.config.collection_file import MAX_BYTES
from sillward.config.household import Household
from sillward.forecast.doubt_wording import reason
from sillward.forecast.store import Shelf
from sillward.ledger import Notice, NoticeState
from sillward.wording.voice import Voice
from sillward_rules.weather.hourly import Freshness

TICK_MARK = "tick"
"""Under this name the ledger remembers the last tick."""

IN_FORCE_MARK = "collection"
"""Under this name and the site's the ledger remembers which collection the daemon goes by: its
digest."""

REFUSED_MARK = "collection refused"
"""... and what was wrong with an edited one, while that is not in force."""

TAKEN_OVER_WITHIN = timedelta(minutes=2)
"""A running daemon goes by an edited collection after this. Judgement: four ticks."""

TICK_KEPT_EVERY = timedelta(minutes=10)
"""How often the ledger hears of a tick: seldom, to spare the disk. Judgement."""

MISSING = 3 * TICK_KEPT_EVERY
"""Without a tick for so long the daemon does not run, or hangs. Judgement."""

FAILING = 3
"""A notice that has been tried so often without success is in trouble. Judgement."""

REMEMBERED = timedelta(hours=24)
"""So long a notice that could not be sent is a trouble. Judgement."""


def troubles(household: Household, shelf: Shelf, now: datetime, voice: Voice) -> list[str]:
    """Everything that keeps the grower from being told in time, in words; nothing is good news."""
    return [
        *_of_ledger(shelf, now, voice),
        *_of_collection(shelf, voice),
        *_of_forecast(shelf, now, voice),
        *_of_notices(household, shelf, now),
    ]


def _of_ledger(shelf: Shelf, now: datetime, voice: Voice) -> Iterator[str]:
    if shelf.ledger.in_memory:
        yield "the ledger cannot be written; what happens now is forgotten at the next start"
    tick = shelf.ledger.marks.get(TICK_MARK)
    if tick is not None and now - tick.at > MISSING:
        yield f"`sillward run` has done nothing since {voice.date_and_hour(tick.at)}"
    doubt = shelf.clock_doubt()
    if doubt is not None:
        yield doubt


def _of_collection(shelf: Shelf, voice: Voice) -> Iterator[str]:
    refused = shelf.ledger.marks.get(f"{REFUSED_MARK}, {voice.site.name}")
    if refused is not None:
        since = voice.date_and_hour(refused.at)
        yield (
            f"the edited collection is refused since {since}, "
            f"the one from before stays in force: {refused.text}"
        )


def not_in_force(path: Path, shelf: Shelf, voice: Voice, now: datetime) -> Iterator[str]:
    """That the daemon, if one has run, does not go by the collection as it is on the disk."""
    mark = shelf.ledger.marks.get(f"{IN_FORCE_MARK}, {voice.site.name}")
    digest = digest_of(path)
    if mark is None or digest is None or digest == mark.text:
        return
    changed = datetime.fromtimestamp(path.stat().st_mtime, UTC)
    if now - changed > TAKEN_OVER_WITHIN:
        yield (
            f"{path.name} was changed {voice.date_and_hour(changed)}, but `sillward run` still "
            f"goes by what it read {voice.date_and_hour(mark.at)}"
        )


def digest_of(path: Path) -> str | None:
    """What tells one content of a collection from another; None if it cannot be read."""
    try:
        return sha256(files.read(path, MAX_BYTES)).hexdigest()[:16]
    except OSError:
        return None


def _of_forecast(shelf: Shelf, now: datetime, voice: Voice) -> Iterator[str]:
    best = shelf.best(voice.site)
    if best is None:
        yield f"there is no forecast{_because(shelf, voice)}"
        return
    for one in shelf.doubted(voice.site):
        yield f"{one.source.name}'s forecast looks wrong: {voice.retold(reason(one.doubts))}"
    state = best.weather.freshness(now)
    if state is not Freshness.FRESH:
        age = voice.age(best.weather.age(now))
        yield f"the forecast is {state.value}, {age}{_because(shelf, voice)}"


def _because(shelf: Shelf, voice: Voice) -> str:
    why = shelf.trouble()
    return f": {voice.retold(why)}" if why else ""


def _of_notices(household: Household, shelf: Shelf, now: datetime) -> Iterator[str]:
    told = shelf.ledger.notices.latest(household.collection.site.name, most=100)
    for channel in household.channels:
        mine = [one for one in told if one.channel == channel.name]
        lost = [one for one in mine if one.state is NoticeState.EXPIRED and _lately(one, now)]
        stuck = [
            one for one in mine if one.state is NoticeState.WAITING and one.attempts >= FAILING
        ]
        if lost or stuck:
            last = max([*lost, *stuck], key=lambda one: one.next_at)
            what = [
                *([f"{len(lost)} not sent in time"] if lost else []),
                *([f"{len(stuck)} waiting"] if stuck else []),
            ]
            why = f": {last.last_error}" if last.last_error else ""
            yield f"{channel.name}: {', '.join(what)}{why}"
    yield from _of_channels_gone(household, told, now)


def _of_channels_gone(household: Household, told: Sequence[Notice], now: datetime) -> Iterator[str]:
    """What nobody has been told, as it was for a channel that is no more."""
    names = {channel.name for channel in household.channels}
    reached = {(one.day, one.round_name) for one in told if one.state is NoticeState.SENT}
    for one in told:
        unsent = one.state is NoticeState.WAITING or (
            one.state is NoticeState.EXPIRED and _lately(one, now)
        )
        if unsent and one.channel not in names and (one.day, one.round_name) not in reached:
            what = f"{one.round_name} of {one.day}"
            yield f"{one.channel} is no channel any more: nobody was told {what}"


def _lately(notice: Notice, now: datetime) -> bool:
    return now - REMEMBERED <= notice.expires_at <= now
