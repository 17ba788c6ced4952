"""What `sillward check` says of a collection as a whole: feeds, forecast, rounds, channels."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from sillward.config.household import Broker, Household, NoticePolicy, TopicSensor
from sillward.reports.check_warnings import first_of
from sillward.reports.course import days_of
from sillward.service import due_rounds
from sillward.text.columns import Column
from sillward.text.units import SI
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import CAUTION, DEFAULT_CAUTION, Collection
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.rule_reading import standard_rules
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.sheet import describe_feed, describe_mixes

COLUMNS = (Column(fixed=True), Column())
"""The subject of a line, and what holds for it."""

Fact = tuple[str, str]

NOBODY_TOLD = "no channels, so nobody will be told anything"


@dataclass(frozen=True, slots=True)
class MessageLinks:
    """The page, and how messages are answered.

    page: where it is served and who may open it, in words.
    url: what links begin with, if there are any.
    ways: how each channel shows them, in words.
    phones: whether the page tells phones, in words; None if that cannot be.
    """

    page: str
    url: str | None
    ways: Mapping[str, str]
    phones: str | None = None


@dataclass(frozen=True, slots=True)
class FactTeller:
    """Tells what holds for a household.

    sources: names of the forecast sources, in the order in which they are asked.
    links: how messages are answered; None if no page is served.
    """

    household: Household
    now: datetime
    sources: Sequence[str]
    links: MessageLinks | None = None

    def all(self) -> list[Fact]:
        """Return all of it."""
        household, voice = self.household, self.household.voice
        collection = household.collection
        rules = ", ".join(rule.name for rule in collection.rules)
        sensors = [("sensor:", _sensor(sensor)) for sensor in household.sensors]
        return [
            ("rules:", rules),
            *_given(collection),
            ("caution:", _caution(collection.habits.caution)),
            *self._watering(),
            ("forecast:", ", then ".join(self.sources)),
            *((f"next {name} round:", due) for name, due in self._rounds()),
            ("what follows:", _follow_up(household)),
            ("told in:", _units_and_wording(voice)),
            *self._ways_to_tell(),
            *sensors,
            *_about_links(household, self.links),
        ]

    def short(self) -> list[Fact]:
        """Return what the grower has said and what comes next, without what is as by default."""
        household, voice = self.household, self.household.voice
        collection = household.collection
        own = [rule.name for rule in collection.rules[len(standard_rules()) :]]
        rounds = ", ".join(f"{name} {due}" for name, due in self._rounds())
        spots = dict.fromkeys(sensor.spot for sensor in household.sensors)
        facts: list[Fact | None] = [
            ("forecast:", ", then ".join(self.sources)),
            ("next rounds:", rounds),
            *self._ways_to_tell(),
            *_about_links(household, self.links),
            ("what follows:", _follow_up(household))
            if household.policy != NoticePolicy() or household.rounds.quiet.hours
            else None,
            ("told in:", _units_and_wording(voice))
            if voice.units != SI or voice.wording.folder
            else None,
            ("sensors:", f"{len(household.sensors)}, at {first_of(list(spots))}")
            if spots
            else None,
            ("caution:", _caution(collection.habits.caution))
            if collection.habits.caution != DEFAULT_CAUTION
            else None,
            ("own rules:", first_of(own)) if own else None,
            *self._watering(),
            *_given(collection),
        ]
        return [fact for fact in facts if fact is not None]

    def _watering(self) -> Iterator[Fact]:
        collection = self.household.collection
        if collection.habits.hours:
            hours = ", ".join(map(self.household.voice.hours, collection.habits.hours))
            yield "watering hours:", hours
        if collection.water is not None:
            yield "water:", _water(collection.water)

    def _rounds(self) -> Iterator[tuple[str, str]]:
        """Yield each round, and when it is due next."""
        household = self.household
        upcoming = due_rounds.upcoming(household.collection.site, household.rounds, self.now)
        for round_, occasion in upcoming.items():
            yield round_.value, household.voice.date_and_hour(occasion.due_at)

    def _ways_to_tell(self) -> Iterator[Fact]:
        for channel in self.household.channels:
            length = "in full" if channel.full_length else "in short"
            url = "no url yet" if channel.url is None else "url is fine"
            yield f"channel {channel.name}:", f"{channel.told}, {length}; {url}"
        if self.household.broker is not None:
            yield "broker:", _broker(self.household.broker)


def _given(collection: Collection) -> Iterator[Fact]:
    """Yield each feed and course, with how many plants get it, and who is not fed."""
    mixes = describe_mixes(collection)
    every: list[Feed | Course] = [*collection.feeds, *collection.courses]
    for one in every:
        count = sum(one.plants.includes(plant) for plant in collection.plants)
        kind = "course" if isinstance(one, Course) else "feed"
        yield f"{kind} {one.name}:", f"{mixes[one.name]}; for {_plants(count)}{days_of(one)}"
    if collection.feed is not None:
        others = "feed of the others:" if collection.feeds else "feed:"
        yield others, describe_feed(collection.feed)
        return
    unfed = [plant.name for plant in collection.plants if not collection.feeds_of(plant)]
    if unfed:
        yield "not fed:", f"{first_of(unfed)}, as no feed is for them"


def _plants(count: int) -> str:
    if not count:
        return "none of your plants"
    return "1 plant" if count == 1 else f"{count} plants"


def _water(water: Water) -> str:
    """Return the water in use: "EC 0.62 mS/cm, 50 % rain: 0.31; alkalinity 150 mg/L, pH 7.6"."""
    blend = f", {100 * water.rain:.0f} % rain: {water.blended.ec:.2g}" if water.rain else ""
    ph = "pH not known" if water.ph is None else f"pH {water.ph:g}"
    alkalinity = "not known" if water.alkalinity is None else f"{water.alkalinity:g} mg/L"
    return (
        f"EC {water.ec:g} mS/cm{blend}; alkalinity {alkalinity}, {ph}, aimed at pH {water.aim_ph:g}"
    )


def _about_links(household: Household, links: MessageLinks | None) -> Iterator[Fact]:
    """Yield how the page stands, and how messages are answered, channel by channel."""
    if links is None:
        return
    yield "page:", links.page
    if links.url is None:
        yield "links:", "none in messages, because SILLWARD_PAGE__URL is not set"
        return
    yield "links:", f"begin with {links.url}"
    for channel in household.channels:
        if channel.name in links.ways:
            person = f", as {channel.person}" if channel.person else ""
            yield f"{channel.name} is answered:", f"by {links.ways[channel.name]}{person}"
    if links.phones is not None:
        yield "phones:", links.phones


def _broker(broker: Broker) -> str:
    secure = "encrypted" if broker.tls else "not encrypted"
    who = "without a user"
    if broker.user is not None:
        password = "no password yet" if broker.password is None else "with its password"
        who = f"as {broker.user}, {password}"
    return f"{broker.address}, MQTT {broker.version}, {secure}, {who}"


def _sensor(sensor: TopicSensor) -> str:
    """Return where a sensor is, what it measures, its topic, and how values are written there."""
    form = {
        "number": "a number",
        "json": f"JSON at {'.'.join(sensor.path)}",
        "senml": f"SenML, record {sensor.record}",
    }
    timed = f", measured at {'.'.join(sensor.time_path)}" if sensor.time_path else ""
    return (
        f"{sensor.spot}, {sensor.quantity.value}, topic {sensor.topic}: "
        f"{form[sensor.payload]}{timed}, in {sensor.unit} unless it says another unit"
    )


def _caution(caution: float) -> str:
    """Return how many trips a lost leaf is worth, and what that is called."""
    word = next((word for word, trips in CAUTION.items() if trips == caution), None)
    called = "" if word is None else f' ("{word}")'
    if not caution:
        return "none: only what the forecast itself asks for"
    return f"a lost leaf is worth {caution:g} trips{called}"


def _follow_up(household: Household) -> str:
    """Return what follows a round: reminders, passing on, changes, and the quiet hours."""
    policy, quiet = household.policy, household.rounds.quiet.hours

    def ahead(what: str, lead: timedelta | None) -> str:
        if lead is None:
            return f"{what} never"
        return f"{what} {lead / timedelta(minutes=1):.0f} min before"

    parts = [
        ahead("remind", policy.remind),
        ahead("pass on", policy.pass_on),
        f"changes of more than {policy.moved_by / timedelta(minutes=1):.0f} min",
        f"at most {policy.max_messages} messages of a round",
        f"quiet {household.voice.hours(quiet)}" if quiet else "no quiet hours",
    ]
    return ", ".join(parts)


def _units_and_wording(voice: Voice) -> str:
    """Return the units of messages, and how many lines of them the grower has worded."""
    units, wording = voice.units, voice.wording
    text = f"{units.temperature}, {units.clock}, {units.wind}"
    own = len(wording.own)
    if own:
        text += f"; {own} {'line' if own == 1 else 'lines'} in your own words"
    return f"{text}; a page of your own" if wording.page is not None else text
