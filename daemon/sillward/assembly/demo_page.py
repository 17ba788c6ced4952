"""The page of the packaged example: a day with two rounds told, in a ledger in memory."""

import shutil
import tempfile
import weakref
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from pydantic import SecretStr

from sillward.assembly.app import App
from sillward.assembly.desk_setup import build_desks
from sillward.assembly.examples import demo, looked_at_pots
from sillward.config.channel import Channel
from sillward.ledger import Ledger
from sillward.ledger.ledger_file import IN_MEMORY
from sillward.ledger.tables.diary import DiaryEntry, EntryKind
from sillward.page.desk import PageDesk
from sillward.page.photos.folder import PhotoFolder
from sillward.service import due_rounds
from sillward.wording.push import Message
from sillward_rules.plants.collection import Collection
from sillward_rules.sheet import Round
from sillward_rules.weather.site import Site

AFTER_ROUND = timedelta(minutes=2)
"""How long after the dusk round the demonstration begins."""


def page_desk(weather: str, *, now: datetime | None = None) -> PageDesk:
    """Return a desk on which the morning and the dusk round of the example were told.

    Its clock starts shortly after dusk and goes on by the real one.

    now: the time of the real clock at the start; a test gives it, to have the clock stand still.
    """
    return told_page_desk(demo(weather), Ledger(IN_MEMORY), now=now)


def told_page_desk(app: App, ledger: Ledger, *, now: datetime | None = None) -> PageDesk:
    """Return such a desk for a household whose clock shows dusk. now: as in `page_desk`.

    What the ledger has of that day already is not told again.
    """
    started = now or datetime.now(UTC)
    dusk = app.clock()
    rounds, site = app.household.rounds, app.site
    morning = rounds.morning.on(site, site.local_date(dusk))
    phone = Channel("phone", None, ("dusk", "morning", "week", "alarm"), True, False)
    neighbour = Channel("neighbour", SecretStr("json://localhost"), (), False, False, "Inés")
    household = replace(app.household, channels=(phone, neighbour))
    moment = morning

    def clock() -> datetime:
        return moment

    app = replace(app, household=household, clock=clock)
    (desk,) = build_desks([app], ledger, _sent)
    desk.context.updater.fetch_now()
    if not ledger.plant_states.of_site(site.name):
        ledger.plant_states.keep(site.name, looked_at_pots(app))
    for round_, at in ((Round.MORNING, morning), (Round.DUSK, dusk)):
        moment = at
        desk.tell(due_rounds.current(site, household.rounds, round_, at))
        desk.deliver(ignore_quiet_hours=True)

    def running() -> datetime:
        real = started if now is not None else datetime.now(UTC)
        return dusk + AFTER_ROUND + (real - started)

    _plan_to_be_away(desk.context.ledger, site, dusk)
    _keep_a_diary(app.household.collection, desk.context.ledger, dusk)
    desk.context.clock = running
    desk.context.forecasts.clock = running
    return PageDesk(desk.context, lambda: household, photos=_photos_until_closed(ledger))


def _plan_to_be_away(ledger: Ledger, site: Site, now: datetime) -> None:
    """Let the neighbour look after the plants for ten days, from the day after tomorrow."""
    if ledger.absences.of_site(site.name):
        return
    first = site.local_date(now) + timedelta(days=2)
    last = first + timedelta(days=9)
    note = "The key hangs behind the door of the back hall. Ring at any hour."
    ledger.absences.insert(site.name, first, last, "Inés", "neighbour", now, note)


def _keep_a_diary(collection: Collection, ledger: Ledger, now: datetime) -> None:
    """Let one plant of the example have a diary of two years."""
    site = collection.site.name
    if ledger.diary.counts(site) or DIARY_OF not in {plant.name for plant in collection.plants}:
        return
    entries = [
        DiaryEntry(DIARY_OF, now - timedelta(days=days), now, kind, text, "Ana", None, what, amount)
        for days, kind, what, amount, text in _DIARY
    ]
    ledger.diary.add(site, entries)


DIARY_OF = "Dancing ladies"
"""The plant of the example that has a diary."""

_DIARY = (
    (640, EntryKind.REPOTTED, "fine bark", None, "half of the roots were dead"),
    (590, EntryKind.SPIKE, None, "1", ""),
    (540, EntryKind.FLOWER, None, "9", ""),
    (505, EntryKind.FADED, None, None, ""),
    (480, EntryKind.GROWTH, None, "2", "from both ends"),
    (470, EntryKind.ROOT, None, "6", ""),
    (318, EntryKind.DAMAGE, "burnt tips", "a few", "on the side of the wall"),
    (231, EntryKind.SPIKE, None, "2", ""),
    (188, EntryKind.FLOWER, None, "17", "the first one smells of nothing"),
    (139, EntryKind.FADED, None, None, ""),
    (112, EntryKind.GROWTH, None, "3", ""),
    (97, EntryKind.ROOT, None, "4", ""),
)
"""Days ago, kind, what, amount and text."""


def _photos_until_closed(ledger: Ledger) -> PhotoFolder:
    """Return a folder for photos that goes when the ledger in memory does."""
    folder = Path(tempfile.mkdtemp(prefix="sillward-demo-"))
    weakref.finalize(ledger, shutil.rmtree, folder, ignore_errors=True)
    return PhotoFolder(folder)


def _sent(channel: Channel, message: Message) -> None:
    """Send nothing, and let it count as sent."""
