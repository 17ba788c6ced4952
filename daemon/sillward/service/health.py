"""What is wrong, if anything is: for `sillward status`, the heartbeat and systemd's status line."""

from collections.abc import Collection, Iterator, Sequence
from datetime import UTC, datetime, timedelta
from hashlib import sha256
from pathlib import Path

from sillward import files
from sillward.config.collection_file import MAX_COLLECTION_BYTES
from sillward.config.household import Household
from sillward.forecast.doubt_wording import reason
from sillward.forecast.store import ForecastStore
from sillward.ledger import Ledger, Notice, NoticeState
from sillward.service import other_runs
from sillward.service.absences import unreached
from sillward.wording.voice import Voice
from sillward_rules.weather.hourly import Freshness

TICK_MARK = "tick"
"""The mark under which the ledger remembers the last tick."""

IN_FORCE_MARK = "collection"
"""The mark, with the site's name, for the digest of the collection that the daemon uses."""

REFUSED_MARK = "collection refused"
"""The mark, with the site's name, for what is wrong with an edited collection that is refused."""

TAKEN_OVER_WITHIN = timedelta(minutes=2)
"""A running daemon uses an edited collection after this. Judgement: four ticks."""

TICK_KEPT_EVERY = timedelta(minutes=10)
"""How often a tick is written to the ledger. Judgement: seldom, to spare the disk."""

DAEMON_GONE_AFTER = 3 * TICK_KEPT_EVERY
"""Without a tick for this long the daemon does not run, or hangs. Judgement."""

MIN_FAILED_ATTEMPTS = 3
"""A notice that was tried this often without success is a trouble. Judgement: the network may be
away for a minute or two."""

LOST_NOTICE_TOLD_FOR = timedelta(hours=24)
"""A notice that could not be sent is a trouble for this long. Judgement."""

UNREADABLE_TOLD_FOR = timedelta(hours=24)
"""A chore or notice that cannot be read is a trouble until this long after its time. Judgement:
by then another day has its own."""

MAX_NOTICES = 100
"""How many of the latest notices of a site are looked at."""


FORECAST_IS = "the forecast is"
"""How the trouble that a forecast is old begins."""


def tick_mark(machine: str) -> str:
    """Return the mark of the last tick on one of the machines that share the work."""
    return f"{TICK_MARK}, {machine}"


def troubles(
    household: Household, ledger: Ledger, store: ForecastStore, now: datetime, voice: Voice
) -> list[str]:
    """Return everything that keeps the grower from being told in time, in words."""
    return [
        *_of_ledger(ledger, now, voice),
        *_of_runs(ledger, voice),
        *_of_clock(store),
        *_of_collection(ledger, voice),
        *_of_forecast(store, now, voice),
        *_of_notices(household, ledger, now),
        *_of_chores(ledger, now, voice),
        *_of_helpers(household, ledger, now),
        *_of_devices(ledger, voice),
    ]


def is_at_work(ledger: Ledger, now: datetime, machine: str | None = None) -> bool:
    """Whether the daemon has ticked of late.

    machine: the name of one of several that share the work.
    """
    tick = ledger.marks.get(TICK_MARK if machine is None else tick_mark(machine))
    return tick is not None and now - tick.at <= DAEMON_GONE_AFTER


def _of_ledger(ledger: Ledger, now: datetime, voice: Voice) -> Iterator[str]:
    if ledger.in_memory:
        yield "the ledger cannot be written; what happens now is forgotten at the next start"
    tick = ledger.marks.get(TICK_MARK)
    if tick is not None and now - tick.at > DAEMON_GONE_AFTER:
        yield f"`sillward run` has done nothing since {voice.date_and_hour(tick.at)}"


def _of_runs(ledger: Ledger, voice: Voice) -> Iterator[str]:
    trouble = other_runs.trouble(ledger, voice.site.name, voice.site.label)
    if trouble is not None:
        yield trouble


def _of_clock(store: ForecastStore) -> Iterator[str]:
    doubt = store.clock_doubt()
    if doubt is not None:
        yield doubt


def _of_collection(ledger: Ledger, voice: Voice) -> Iterator[str]:
    site = voice.site.name
    refused = ledger.marks.get(f"{REFUSED_MARK}, {site}")
    if refused is not None:
        since, in_force = voice.date_and_hour(refused.at), ledger.kept_collections.since(site)
        used = "" if in_force is None else f" (in use since {voice.date_and_hour(in_force)})"
        yield (
            f"the edited collection has been refused since {since}; "
            f"the last good one{used} stays in force: {refused.text}"
        )


def not_in_force(path: Path, ledger: Ledger, voice: Voice, now: datetime) -> Iterator[str]:
    """Yield that the daemon uses another collection than the one in the file, if it does."""
    mark = ledger.marks.get(f"{IN_FORCE_MARK}, {voice.site.name}")
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
    """Return a digest of the collection file, or None if it cannot be read."""
    try:
        return sha256(files.read(path, MAX_COLLECTION_BYTES)).hexdigest()[:16]
    except OSError:
        return None


def _of_forecast(store: ForecastStore, now: datetime, voice: Voice) -> Iterator[str]:
    best = store.best(voice.site)
    if best is None:
        yield f"there is no forecast{_because(store, voice)}"
        return
    for doubted in store.doubted(voice.site):
        why = voice.retold(reason(doubted.doubts))
        yield f"{doubted.source.name}'s forecast looks wrong: {why}"
    state = best.weather.freshness(now)
    if state is not Freshness.FRESH:
        use = ", too old to judge a night by" if state is Freshness.EXPIRED else ""
        yield f"{FORECAST_IS} {voice.age(best.weather.age(now))}{use}{_because(store, voice)}"


def _because(store: ForecastStore, voice: Voice) -> str:
    why = store.trouble()
    return f": {voice.retold(why)}" if why else ""


def _of_notices(household: Household, ledger: Ledger, now: datetime) -> Iterator[str]:
    notices = ledger.notices.latest(household.collection.site.name, most=MAX_NOTICES)
    devices = ledger.devices.of_site(household.collection.site.name)
    names = [channel.name for channel in household.channels]
    names += [device.name for device in devices if device.gone_at is None]
    for name in names:
        own = [notice for notice in notices if notice.channel == name]
        lost = [notice for notice in own if _was_lost_lately(notice, now)]
        stuck = [
            notice
            for notice in own
            if notice.is_on_its_way and notice.failures >= MIN_FAILED_ATTEMPTS
        ]
        doubtful = _doubtful_since_one_was_taken(own)
        if lost or stuck or doubtful:
            last = max([*lost, *stuck, *doubtful], key=lambda notice: notice.next_at)
            counts = [
                *([f"{len(lost)} not sent in time"] if lost else []),
                *([f"{len(stuck)} waiting"] if stuck else []),
                *([f"{len(doubtful)} may not have arrived"] if doubtful else []),
            ]
            why = f": {last.last_error}" if last.last_error else ""
            yield f"{name}: {', '.join(counts)}{why}"
    yield from _of_removed_channels({*names, *(device.name for device in devices)}, notices, now)
    since = household.collection.site.local_date(now - UNREADABLE_TOLD_FOR)
    unreadable = ledger.notices.unreadable(household.collection.site.name, since)
    if unreadable:
        yield f"notices that cannot be read from the ledger: {unreadable}, see the log"


def _of_chores(ledger: Ledger, now: datetime, voice: Voice) -> Iterator[str]:
    since = now - UNREADABLE_TOLD_FOR
    for chore_id, before in ledger.chores.unreadable(voice.site.name, since).items():
        until = voice.date_and_hour(before)
        yield f"{chore_id}, to be done by {until}, cannot be read from the ledger: see the log"


def _of_helpers(household: Household, ledger: Ledger, now: datetime) -> Iterator[str]:
    for person, why in unreached(household, ledger, now):
        yield f"{person}, who looks after the plants, cannot be told: {why}"


def _of_devices(ledger: Ledger, voice: Voice) -> Iterator[str]:
    """Yield which phones are told no more, until somebody removes them or has them told again."""
    for device in ledger.devices.of_site(voice.site.name):
        if device.gone_at is not None:
            yield (
                f"{device.name} has not been told since {voice.date_and_hour(device.gone_at)}: "
                'its browser takes no messages; press "Tell this phone" on it again'
            )


def _of_removed_channels(
    names: Collection[str], notices: Sequence[Notice], now: datetime
) -> Iterator[str]:
    """Yield what no channel has been told, since it was meant for one that was removed.

    names: of the channels that there are, or were until lately.
    """
    reached = {
        (notice.day, notice.round_name) for notice in notices if notice.state is NoticeState.SENT
    }
    for notice in notices:
        is_unsent = notice.is_on_its_way or _was_lost_lately(notice, now)
        is_reached = (notice.day, notice.round_name) in reached
        if is_unsent and notice.channel not in names and not is_reached:
            what = f"{notice.round_name} of {notice.day}"
            yield f"{notice.channel} is no longer a channel: nobody was told {what}"


def _doubtful_since_one_was_taken(notices: Sequence[Notice]) -> list[Notice]:
    """Return those of a channel that were never answered for, as long as nothing shows that the
    channel takes any: until then nobody knows whether the grower was told."""
    taken = [n.sent_at for n in notices if n.sent_at is not None and not n.is_doubtful]
    since = max(taken, default=None)
    return [
        notice
        for notice in notices
        if notice.is_doubtful
        and (since is None or notice.sent_at is None or notice.sent_at > since)
    ]


def _was_lost_lately(notice: Notice, now: datetime) -> bool:
    is_recent = now - LOST_NOTICE_TOLD_FOR <= notice.expires_at <= now
    return notice.state is NoticeState.EXPIRED and is_recent
