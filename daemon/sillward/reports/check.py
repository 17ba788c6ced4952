"""What `sillward check` prints: the collection as it was understood, with the origin of limits."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from sillward.config import group_lookup
from sillward.config.build_collection import OWN_LIMIT
from sillward.config.household import Broker, Household, TopicSensor
from sillward.reports import pot_water
from sillward.reports.course import days_of
from sillward.reports.learned import learned_document
from sillward.reports.limits import limit_rows, limits_document
from sillward.reports.plant_words import size_document, sized
from sillward.service import due_rounds
from sillward.text.columns import PIPE, Cell, Column, Mark, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.physics.cold_harm import MIN_SPAN_K
from sillward_rules.planners.strength import too_strong_for
from sillward_rules.plants import never_given
from sillward_rules.plants.collection import CAUTION, Collection
from sillward_rules.plants.feeds import Course, Feed
from sillward_rules.plants.plant import Plant
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.remark import FeedTooStrong
from sillward_rules.sheet import describe_feed, describe_mixes
from sillward_rules.weather import light
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

_FACTS = (Column(fixed=True), Column())
"""The subject of a line, and what holds for it."""

_LIMITS = (Column(fixed=True), Column(fixed=True), Column())
"""Name, value and origin of a limit."""


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


def text(
    household: Household,
    now: datetime,
    sources: Sequence[str],
    screen: Screen = PIPE,
    links: MessageLinks | None = None,
) -> str:
    """Return the collection as it was understood, as lines of text.

    sources: names of the forecast sources, in the order in which they are asked.
    links: how messages are answered; None if no page is served.
    """
    collection, voice = household.collection, household.voice
    site = collection.site
    lines = screen.lines(
        f"{site.label}: {site.latitude:g}, {site.longitude:g}, {site.elevation_m:g} m, {site.zone}"
    )
    for plant in collection.plants:
        lines += ["", *_plant_lines(plant, voice, screen)]
    lines.append("")
    for spot in collection.spots:
        lines += _spot_lines(spot, site, now, voice, screen)
    facts = [*_facts(household, now, sources), *_about_links(household, links)]
    lines += ["", *table(facts, _FACTS, screen)]
    if not household.channels:
        warning = "no channels: sheets can be printed, but nobody will be told"
        lines += screen.lines(warning, Mark.TROUBLE)
    plants = voice.plants(len(collection.plants))
    warnings = [
        *_warnings(collection.plants, voice),
        *_never_given(collection),
        *_too_strong(collection, now, voice),
        *_about_readings(collection, voice),
    ]
    if not warnings:
        return "\n".join([*lines, *screen.lines(f"all is well: {plants}", Mark.OK)])
    for name, warning in warnings:
        lines += screen.lines(f"! {name}: {warning}" if name else f"! {warning}", Mark.TROUBLE)
    count = "1 warning" if len(warnings) == 1 else f"{len(warnings)} warnings"
    return "\n".join([*lines, *screen.lines(f"understood: {plants}; {count}", Mark.TROUBLE)])


def _warnings(plants: Sequence[Plant], voice: Voice) -> list[tuple[str, str]]:
    """Return the names of plants whose two limits of cold do not go together, and why not."""
    found = ((plant.name, _too_close(plant, voice)) for plant in plants)
    return [(name, warning) for name, warning in found if warning is not None]


def _too_strong(collection: Collection, now: datetime, voice: Voice) -> Iterator[tuple[str, str]]:
    """Yield what is too strong for some plants; these are named in the text.

    Without what can be given on humid mornings of a feed for all plants: it is so for few of them.
    """
    for remark in too_strong_for(collection, collection.site.local_date(now)):
        if not (remark.dries and isinstance(remark, FeedTooStrong) and not remark.feed):
            yield "", voice.remark(remark)


def _about_readings(collection: Collection, voice: Voice) -> Iterator[tuple[str, str]]:
    """Yield the spots whose readings ask for a look, and why: a thermometer that is in doubt, or
    one that contradicts what the grower has said."""
    for spot in collection.spots:
        if (question := spot.question) is not None:
            yield spot.name, voice.remark(question)
        elif spot.is_contradicted and spot.taught is not None:
            yield spot.name, voice.retold(spot.taught)


def _too_close(plant: Plant, voice: Voice) -> str | None:
    """Return what is wrong if comfort lies below injury, or hardly above it.

    Limits that both come from the groups are not the grower's to mend.
    """
    comfort, injury = plant.limits.night_low, plant.limits.brief_low
    if comfort is None or injury is None or comfort.value - injury.value >= MIN_SPAN_K:
        return None
    if OWN_LIMIT not in (comfort.origin, injury.origin):
        return None
    night, brief = voice.bound(comfort.value), voice.bound(injury.value)
    least = voice.kelvins(MIN_SPAN_K)
    if comfort.value < injury.value:
        wrong = (
            f"night_low {night} is below brief_low {brief}, which injures within hours, so it "
            f"goes in for {brief} all the same"
        )
    else:
        wrong = (
            f"night_low {night} is less than {least} above brief_low {brief}; harm is worked out "
            f"as if {least} lay between them"
        )
    return f"{wrong}: set both under limits, brief_low at least {least} lower"


def _plant_lines(plant: Plant, voice: Voice, screen: Screen) -> list[str]:
    """Return a plant's groups, places and limits, and what is left open about its groups."""
    kind = " x ".join(map(group_lookup.name_with_group, plant.named or plant.groups)) or "no group"
    roots = ", bare velamen" if plant.velamen else ""
    shelter = f"shelter {plant.shelter}" if plant.shelter else "no shelter"
    worth = "" if plant.worth == 1 else f"; counts {plant.worth:g} times"
    questions = [question for name in plant.named if (question := group_lookup.open_question(name))]
    rows = [
        (
            name,
            value if isinstance(value, str) else voice.bound(value, unit),
            voice.retold(origin),
        )
        for name, value, unit, origin in limit_rows(plant.limits)
    ]
    return [
        *screen.lines(plant.name),
        *screen.lines(f"  {kind}; {plant.holder}{roots}; {plant.home}, {shelter}{worth}"),
        *(screen.lines(f"  {told}") if (told := sized(plant)) else ()),
        *(screen.lines(f"  {told}") if (told := pot_water.classed(plant)) else ()),
        *(line for question in questions for line in screen.lines(f"  ? {question}")),
        *table(rows, _LIMITS, screen, indent=2),
    ]


def _spot_lines(spot: Spot, site: Site, now: datetime, voice: Voice, screen: Screen) -> list[str]:
    """Return a spot, its hours of possible sun, and what is left open about it."""
    lines = screen.lines(f"spot {spot.name} ({'indoors' if spot.indoors else 'outdoors'})")
    if spot.sun_windows is not None:
        sun_h = light.direct_sun_hours(site, spot.sun_windows, site.local_date(now))
        lines.append(f"  possible direct sun today: {sun_h:.1f} h")
    if spot.taught is not None:
        lines += screen.lines(f"  {voice.retold(spot.taught)}")
    for question in spot.open_questions():
        lines += screen.lines(f"  ? {voice.retold(question)}")
    return lines


def _facts(
    household: Household, now: datetime, sources: Sequence[str]
) -> Iterator[tuple[Cell, Cell]]:
    """Yield what holds for the whole collection: its subject, and what is said of it."""
    collection, voice = household.collection, household.voice
    yield "rules:", ", ".join(rule.name for rule in collection.rules)
    yield from _given(collection)
    yield "caution:", _caution(collection.habits.caution)
    if collection.habits.hours:
        yield "watering hours:", ", ".join(map(voice.hours, collection.habits.hours))
    if collection.water is not None:
        yield "water:", _water(collection.water)
    yield "forecast:", ", then ".join(sources)
    for round_, occasion in due_rounds.upcoming(collection.site, household.rounds, now).items():
        yield f"next {round_.value} round:", voice.date_and_hour(occasion.due_at)
    yield "what follows:", _follow_up(household)
    yield "told in:", _units_and_wording(voice)
    for channel in household.channels:
        length = "in full" if channel.full_length else "in short"
        url = "no url yet" if channel.url is None else "url is fine"
        yield f"channel {channel.name}:", f"{channel.told}, {length}; {url}"
    if household.broker is not None:
        yield "broker:", _broker(household.broker)
    for sensor in household.sensors:
        yield "sensor:", _sensor(sensor)


def _given(collection: Collection) -> Iterator[tuple[Cell, Cell]]:
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
        yield "not fed:", f"{_first_of(unfed)}, as no feed is for them"


def _never_given(collection: Collection) -> Iterator[tuple[str, str]]:
    """Yield each feed and course with a name that never reaches some of its plants, and why."""
    for one, plants in never_given.out_of_reach(collection):
        done = "given" if isinstance(one, Course) else "fed"
        why = f"never {done} by sillward: not misted, and no pot given"
        yield one.name, f"{_first_of(plants)}: {why}"


MAX_UNFED_NAMED = 6
"""Plants that are named of those that are not fed. Judgement: their number tells the rest."""


def _first_of(names: Sequence[str]) -> str:
    more = len(names) - MAX_UNFED_NAMED
    return ", ".join(names[:MAX_UNFED_NAMED]) + (f" and {more} more" if more > 0 else "")


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


def _about_links(household: Household, links: MessageLinks | None) -> Iterator[tuple[Cell, Cell]]:
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
        return "none: what the forecast itself asks for, and no more"
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


def document(
    household: Household,
    now: datetime,
    sources: Sequence[str],
    links: MessageLinks | None = None,
) -> dict[str, Any]:
    """Return the same as plain types, for JSON."""
    collection = household.collection
    voice = Voice(collection.site)
    return {
        "schema": 1,
        "site": collection.site.label,
        "plants": [
            {
                "name": plant.name,
                "groups": list(plant.groups),
                "named": list(plant.named or plant.groups),
                "home": plant.home,
                "shelter": plant.shelter,
                "worth": plant.worth,
                "limits": limits_document(plant.limits),
                **size_document(plant),
                **pot_water.class_document(plant),
            }
            for plant in collection.plants
        ],
        "open": {spot.name: list(spot.open_questions()) for spot in collection.spots},
        "learned": {
            spot.name: learned_document(spot)
            for spot in collection.spots
            if spot.taught is not None
        },
        "questions": {
            spot.name: Voice(collection.site).remark(spot.question)
            for spot in collection.spots
            if spot.question is not None
        },
        **_warnings_document(collection, now, voice),
        "rules": [rule.name for rule in collection.rules],
        "caution": collection.habits.caution,
        "forecast": list(sources),
        "channels": [channel.name for channel in household.channels],
        "page": None if links is None else links.page,
        "people": list(household.people),
        "answered_by": {} if links is None or links.url is None else dict(links.ways),
        "sensors": [
            {"spot": sensor.spot, "quantity": sensor.quantity.value, "topic": sensor.topic}
            for sensor in household.sensors
        ],
    }


def _warnings_document(collection: Collection, now: datetime, voice: Voice) -> dict[str, Any]:
    warnings = _warnings(collection.plants, voice)
    return {
        "warnings": [{"plant": name, "text": text} for name, text in warnings],
        "never_given": [{"name": name, "text": text} for name, text in _never_given(collection)],
        "too_strong": [text for _, text in _too_strong(collection, now, voice)],
    }
