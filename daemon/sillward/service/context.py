"""What every part of the service works with: a household, its forecasts, ledger and channels."""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date, datetime

from sillward.channels.dispatcher import Dispatcher
from sillward.channels.push_identity import PushIdentity
from sillward.channels.sender import Sender
from sillward.config.channel import Channel
from sillward.config.household import Household
from sillward.errors import LedgerError
from sillward.forecast.store import Clock, ForecastStore, utc_now
from sillward.forecast.updater import ForecastUpdater
from sillward.ledger import Absence, Ledger, Notice, NoticeState, Stage, StoredChore
from sillward.links.page_links import PageLinks
from sillward.readings.last_night import with_last_night
from sillward.readings.lessons import Lessons
from sillward.service import accepted_limits
from sillward.service.damage_questions import with_damage_questions
from sillward.service.defects import contained
from sillward.service.device_channel import channel_of
from sillward.service.plant_states import states_at
from sillward.service.run_control import RunControl
from sillward.service.season_memory import with_season
from sillward.service.sensor_status import with_quiet_sensors
from sillward.wording import full_sheet, push, short_sheet
from sillward.wording.push import Message
from sillward.wording.voice import Voice
from sillward_rules.chore import Chore, only
from sillward_rules.plants.collection import Collection
from sillward_rules.plants.state import State
from sillward_rules.sheet import Round, Sheet, draw_up, draw_up_orders
from sillward_rules.weather import sun
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site

ALARM = "alarm"
"""What a channel lists among its rounds if it is told alarms."""

FOR_HELPERS = frozenset({Round.DUSK.value, Round.MORNING.value, ALARM})
"""What those are told who look after the plants for some days."""


@dataclass(slots=True)
class ServiceContext:
    """The collaborators of one household's service, and what all of its parts ask of them."""

    household: Household
    updater: ForecastUpdater
    ledger: Ledger
    sender: Sender
    clock: Clock = utc_now
    run: RunControl = field(default_factory=RunControl)
    links: PageLinks | None = None
    """Makes the links in messages; None if messages carry none."""
    push: PushIdentity | None = None
    """Signs what is sent to phones by Web Push; None if that cannot be."""
    dispatcher: Dispatcher | None = None
    """Sends beside other work, for many households; without one the sender is waited for."""
    lessons: Lessons = field(init=False)

    def __post_init__(self) -> None:
        self.lessons = Lessons(self.ledger, self.updater.store)
        self.replace_household(self.household)

    def replace_household(self, household: Household) -> None:
        """Work for this household from now on: its collection was edited, or may have other
        accepted limits by now."""
        self.household = household
        with suppress(LedgerError):  # without them it is looked at again at the next tick
            self.household = accepted_limits.applied(household, self.ledger)

    @property
    def forecasts(self) -> ForecastStore:
        """The stored forecasts, and which of them counts."""
        return self.updater.store

    @property
    def collection(self) -> Collection:
        """The household's collection, with what readings say of its spots, of this night too."""
        given = self.household.collection
        return contained("readings.failed").attempt(
            lambda: self.lessons.applied(given, self.clock()), otherwise=lambda: given
        )

    @property
    def taught_collection(self) -> Collection:
        """The same without what thermometers show of this night."""
        given = self.household.collection
        return contained("readings.failed").attempt(
            lambda: self.lessons.taught(given, self.clock()), otherwise=lambda: given
        )

    @property
    def site(self) -> Site:
        """The household's site."""
        return self.household.collection.site

    @property
    def voice(self) -> Voice:
        """The words and units in which the household is spoken to."""
        return self.household.voice

    def weather(self) -> Weather:
        """Return the best forecast there is; weather of which nothing is known if there is none."""
        return self.forecasts.weather(self.site)

    def has_forecast(self) -> bool:
        """Whether a forecast is stored that can be relied on; no, if a defect keeps it unread."""
        return contained("forecast.failed_to_read").attempt(
            lambda: self.forecasts.is_usable(self.site), otherwise=lambda: False
        )

    def states(self) -> State:
        """Return what is known of the plants now."""
        return states_at(self.ledger, self.site, self.clock())

    def sheet(self, round_: Round, weather: Weather) -> Sheet:
        """Work out a round now, from what the ledger knows of the plants."""
        # The ledger keeps whole seconds: what was told at a time is compared with that very time.
        now = self.clock().replace(microsecond=0)
        given, collection = self.household.collection, self.collection
        sheet = draw_up(round_, collection, weather, self.states(), now)
        sheet = with_season(sheet, collection, self.ledger)
        sheet = contained("readings.failed").attempt(
            lambda: with_last_night(sheet, collection, self.lessons.of_spots(given, now)),
            otherwise=lambda: sheet,
        )
        sheet = contained("damage.failed_to_ask").attempt(
            lambda: with_damage_questions(sheet, collection, self.ledger), otherwise=lambda: sheet
        )
        return with_quiet_sensors(sheet, self.household, self.ledger)

    def orders(self, round_: Round, weather: Weather, *, goes_out: bool) -> Sheet:
        """Work out the orders of a round that a newer forecast may correct, as of now.

        goes_out: whether an order to go out is open.
        """
        now, states = self.clock().replace(microsecond=0), self.states()
        collection = self.collection
        return draw_up_orders(round_, collection, weather, states, now, goes_out=goes_out)

    def chore(self, stored: StoredChore) -> Chore | None:
        """Return a chore as it was told, without plants that were removed; None if all were."""
        chore = stored.chore
        names = {plant.name for plant in self.household.collection.plants}
        if names.issuperset(chore.plants):
            return chore
        left = [name for name in chore.plants if name in names]
        return only(chore, left) if left else None

    @property
    def day(self) -> date:
        """The local date of this day or, until sunrise, of the night that goes on."""
        return sun.night_at_or_after(self.site, self.clock()).day

    def helpers(self, day: date) -> list[Absence]:
        """Return the absences in which others look after the plants on a day."""
        return self.ledger.absences.covering(self.site.name, day)

    @property
    def devices(self) -> list[Channel]:
        """The phones that are told by Web Push, each as a channel."""
        devices = self.ledger.devices.of_site(self.site.name)
        return [channel_of(device, self.push) for device in devices if device.gone_at is None]

    @property
    def channels(self) -> list[Channel]:
        """The channels of the collection, and after them the phones."""
        return [*self.household.channels, *self.devices]

    def channels_for(self, kind: str, day: date) -> list[Channel]:
        """Return the channels that are told a kind of notice: a round by its name, or `ALARM`.

        Those of helpers on that day are among them, except for the week. A helper is told when
        there is nothing to do as well, so that silence means that something is wrong.
        """
        helping = {absence.channel for absence in self.helpers(day)} if kind in FOR_HELPERS else ()
        return [
            replace(channel, all_clear=True) if channel.name in helping else channel
            for channel in self.channels
            if kind in channel.rounds or channel.name in helping
        ]

    def alarmed(self, day: date, *, helpers: bool = True) -> list[Channel]:
        """Return the channels that are told alarms; all that are told anything if none of the
        collection is.

        helpers: whether those of helpers on that day are among them, too.
        """
        own = [channel for channel in self.household.channels if ALARM in channel.rounds]
        own = own or [channel for channel in self.household.channels if channel.rounds]
        names = {channel.name for channel in own}
        if helpers:
            names |= {absence.channel for absence in self.helpers(day)}
        told = [channel for channel in self.household.channels if channel.name in names]
        return [*told, *self.devices]

    def person_of(self, channel: Channel, day: date) -> str | None:
        """Return who reads a channel on a day, if that is known."""
        helpers = (each.person for each in self.helpers(day) if each.channel == channel.name)
        return channel.person or next(helpers, None)

    def is_told_nothing(self, channel: Channel, day: date) -> bool:
        """Whether a channel is kept for helpers, and belongs to none on that day."""
        helping = {absence.channel for absence in self.helpers(day)}
        return not channel.rounds and channel.name not in helping

    def message(self, channel: Channel, sheet: Sheet, footer: Sequence[str] = ()) -> Message:
        """Return the sheet as this channel gets it, in full or in short, ended by the footer."""
        voice = self.voice
        if not channel.full_length:
            return short_sheet.message(sheet, voice, footer)
        credit = self.forecasts.attribution(sheet.source)
        return Message(
            short_sheet.message(sheet, voice).title, full_sheet.text(sheet, voice, credit, footer)
        )

    def fitted(self, channel: Channel, message: Message) -> Message:
        """Return the message no longer than this channel takes it: lines at its end are cut."""
        return message if channel.full_length else push.trimmed(message, self.voice)

    def notice(
        self,
        channel: Channel,
        name: str,
        day: date,
        message: Message,
        until: datetime,
        *,
        round_: str | None = None,
        change: int = 0,
        stage: Stage = Stage.TOLD,
        skip: bool = False,
    ) -> Notice:
        """Return a notice to enqueue, due now.

        name: its intent at this site on this day, and by default the round that it belongs to.
        change: the number of the change of the round that it tells of, or 0.
        skip: never send it; there is nothing in it that the channel needs to hear.
        """
        return Notice(
            key=f"{self.site.name}/{day}/{name}/{channel.name}",
            site=self.site.name,
            round=round_ or name,
            day=str(day),
            channel=channel.name,
            title=message.title,
            body=message.body,
            state=NoticeState.NOT_NEEDED if skip else NoticeState.WAITING,
            attempts=0,
            next_at=self.clock(),
            expires_at=until,
            stage=stage,
            change_number=change,
        )
