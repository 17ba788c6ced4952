"""A list for a stranger: what someone needs to know who looks after the plants for some days.

It is for somebody who knows neither the plants nor sillward. Plants that are alike are told
together, and spots come in the order of the collection, in which its grower walks. There are no
numbers to understand, no addresses and no secrets in it.
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta

import numpy as np

from sillward.text.columns import WIDTH, wrapped
from sillward.wording.voice import Voice
from sillward_rules.planners.shelters_ahead import ShelterAhead
from sillward_rules.plants import size
from sillward_rules.plants.collection import Collection, Recipe
from sillward_rules.plants.plant import Holder, Plant
from sillward_rules.sheet import describe_course, describe_feed

SILENT_AFTER = timedelta(minutes=30)
"""A message that has not come so long after its usual hour does not come. Judgement: a phone may
have been without network for a while, and there is still light to carry by."""

ROUGHLY_MIN = 15
"""Hours that differ by no more than this are told as one [min]. Judgement."""

_BLANKS = ("water", "telephone")
"""What a household that has written no note fills in by hand."""

_CARE = ("water", "late", "sun", "lifting", "ladder", "floor", "power", "poison", "rest")
"""What everybody must take care of, in this order."""


@dataclass(frozen=True, slots=True)
class RoundHours:
    """The earliest and the latest hour of each daily round in those days, in the site's zone."""

    dusk: tuple[datetime, datetime]
    morning: tuple[datetime, datetime]


@dataclass(frozen=True, slots=True)
class Section:
    """A heading and sentences under it."""

    heading: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class AlikePlants:
    """Plants that are treated alike: their names, and what to do with them."""

    names: tuple[str, ...]
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SpotOnList:
    """A spot with the plants that belong there."""

    heading: str
    plants: tuple[AlikePlants, ...]


@dataclass(frozen=True, slots=True)
class HelperList:
    """The whole list, in the order in which it is read.

    blanks: what is filled in by hand on paper, since the household said nothing of it.
    """

    title: str
    span: str
    before: tuple[Section, ...]
    spots: tuple[SpotOnList, ...]
    after: tuple[Section, ...]
    blanks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Treatment:
    """What plants must have in common to be told together.

    shelter: where they go, None if nowhere. usual: their own shelter, if they have one. is_sure:
        whether the shelter is known to be warm enough. here: where they stand, if elsewhere.
        watered: whether messages say when their pots want water.
    """

    shelter: str | None
    usual: str | None
    is_sure: bool
    holder: Holder
    misted: bool
    bare: bool
    tender_crown: bool
    here: str
    watered: bool


def date_in_words(day: date, voice: Voice) -> str:
    """Return a day as "Friday 4 December"."""
    weekday = voice.say("long_weekday", number=day.weekday())
    return f"{weekday} {day.day} {voice.say('long_month', number=day.month)}"


def span_in_words(days: tuple[date, date], voice: Voice) -> str:
    """Return "from Friday 4 December, morning, to Sunday 13 December, evening"."""
    first, last = (date_in_words(day, voice) for day in days)
    return voice.say("absence_span", first_on=first, last_on=last)


def helper_list(
    collection: Collection,
    spots: Mapping[str, str],
    shelters: Mapping[str, ShelterAhead],
    days: tuple[date, date],
    person: str,
    note: str,
    hours: RoundHours,
    voice: Voice,
    *,
    linked: bool = False,
) -> HelperList:
    """Return the list for these days.

    Args:
        spots: where plants stand now, by name, as far as that is known.
        shelters: where plants go on a cold night, as far as it is known.
        days: the first and the last, both included.
        note: what the household wants to say; may be empty.
        linked: whether messages carry a link by which to answer.
    """
    say = voice.say
    treated = {
        plant.name: treatment for plant, treatment in _treatments(collection, spots, shelters)
    }
    listed = [spot for spot in _spots(collection, treated, voice) if spot.plants]
    misted = any(treatment.misted for treatment in treated.values())
    own = [Section(say("list_heading", name="own"), (note,))] if note else []
    feed = _feeds(collection, voice)
    in_pots = any(plant.pot and collection.feeds_of(plant) for plant in collection.plants)
    care = [
        line
        for name in _CARE
        if misted or name != "water"
        for line in (say("list_care", name=name), *_of_size(name, collection, voice))
    ]
    return HelperList(
        say("list_title", site=collection.site.label),
        say("list_for", person=person, span=span_in_words(days, voice)),
        (
            *own,
            _messages(collection, treated, hours, voice, linked=linked),
            _silence(treated, hours, voice, misted=misted),
        ),
        tuple(listed),
        (
            Section(
                say("list_heading", name="care"),
                (*care[:1], say("list_feed", feed=feed, in_pots=in_pots), *care[1:]),
            ),
            Section(say("list_heading", name="ask"), (say("list_ask"),)),
        ),
        () if note else tuple(say("list_blank", name=name) for name in _BLANKS),
    )


def _of_size(name: str, collection: Collection, voice: Voice) -> list[str]:
    """Return what else a caution says of plants that are heavy or stand high, by name."""
    if name == "lifting":
        weights = size.weights_kg(collection.plants)
        heavy = [
            (collection.plants[number].name, round(float(weights[number])))
            for number in np.flatnonzero(size.is_heavy(weights)).tolist()
        ]
        return [voice.say("list_heavy", plants=heavy)] if heavy else []
    if name == "ladder":
        used = {spot for plant in collection.plants for spot in (plant.home, plant.shelter)}
        high = [
            spot.name
            for spot in collection.spots
            if spot.name in used and spot.height_m > size.HIGH_M
        ]
        return [voice.say("list_heights", spots=high)] if high else []
    return []


def _messages(
    collection: Collection,
    treated: Mapping[str, _Treatment],
    hours: RoundHours,
    voice: Voice,
    *,
    linked: bool,
) -> Section:
    say = voice.say
    dusk, morning = (_about(each, voice) for each in (hours.dusk, hours.morning))
    carried = next((plant for plant in collection.plants if treated[plant.name].shelter), None)
    lines = [
        say("list_intro"),
        say("list_evening", start=dusk[0], end=dusk[1]),
        say("list_morning", start=morning[0], end=morning[1]),
        say("list_other_hours"),
        say("list_nothing"),
    ]
    if carried is not None:
        to = treated[carried.name].shelter
        way = {"spot": carried.home, "to": to, "plant": carried.name}
        lines.append(say("list_example", **way))
    lines.append(say("list_answer", linked=linked))
    return Section(say("list_heading", name="messages"), tuple(lines))


def _feeds(collection: Collection, voice: Voice) -> str | None:
    """Return all that plants are fed with; None if it is not known."""
    told = [
        f"{feed.name + ': ' if feed.name else ''}{_feed(feed.recipe, voice)}"
        for feed in collection.all_feeds
        if feed.recipe is not None
    ]
    told += [f"{one.name}: {voice.retold(describe_course(one))}" for one in collection.courses]
    return "; ".join(told) or None


def _feed(recipe: Recipe, voice: Voice) -> str:
    """Return the feed with the names of salts, which stand on their bags, rather than formulas."""
    told = describe_feed(recipe)
    for salt, _ in recipe.mix.supplements:
        told = told.replace(salt.formula, salt.name)
    return voice.retold(told)


def _silence(
    treated: Mapping[str, _Treatment], hours: RoundHours, voice: Voice, *, misted: bool
) -> Section:
    say = voice.say
    evening, morning = (
        voice.hour(_rounded(latest + SILENT_AFTER, up=True))
        for _, latest in (hours.dusk, hours.morning)
    )
    carried = any(treatment.shelter for treatment in treated.values())
    lines = (
        say("list_no_evening", hour=evening, carried=carried),
        say("list_no_morning", hour=morning, misted=misted),
    )
    return Section(say("list_heading", name="silence"), lines)


def _about(between: tuple[datetime, datetime], voice: Voice) -> tuple[str, str]:
    """Return two hours as a person says them; the same one twice where they are nearly the same."""
    first, last = between
    spread = (last.hour - first.hour) * 60 + last.minute - first.minute
    if spread <= ROUGHLY_MIN:
        last = first
    return voice.hour(_rounded(first)), voice.hour(_rounded(last))


def _rounded(at: datetime, *, up: bool = False) -> datetime:
    """Return the nearest time on five minutes, or the next one."""
    more = 4 if up else 2
    minutes = (at.minute + more) // 5 * 5
    return at.replace(minute=0, second=0, microsecond=0) + timedelta(minutes=minutes)


def _treatments(
    collection: Collection, spots: Mapping[str, str], shelters: Mapping[str, ShelterAhead]
) -> Iterator[tuple[Plant, _Treatment]]:
    """Yield each plant with its treatment."""
    asking = [
        rule.plants.among(collection.traits) for rule in collection.rules if rule.asks == "mist"
    ]
    for number, kind in enumerate(collection.kinds):
        misted = any(bool(among[number]) for among in asking)
        for plant in kind:
            here = spots.get(plant.name, plant.home)
            ahead = shelters.get(plant.name)
            yield (
                plant,
                _Treatment(
                    plant.shelter if ahead is None else ahead.spot,
                    plant.shelter,
                    ahead is not None and ahead.is_sure,
                    plant.holder,
                    misted,
                    plant.velamen,
                    plant.rot == "high",
                    "" if here == plant.home else here,
                    plant.pot is not None,
                ),
            )


def _spots(
    collection: Collection, treated: Mapping[str, _Treatment], voice: Voice
) -> Iterator[SpotOnList]:
    """Yield the spots in walking order, with the plants that are at home there."""
    for spot in collection.spots:
        names = [plant.name for plant in collection.plants if plant.home == spot.name]
        alike: dict[_Treatment, list[str]] = {}
        for name in names:
            alike.setdefault(treated[name], []).append(name)
        yield SpotOnList(
            voice.say("list_spot", spot=spot.name, count=len(names)),
            tuple(_alike(treatment, members, voice) for treatment, members in alike.items()),
        )


def _alike(treatment: _Treatment, names: Sequence[str], voice: Voice) -> AlikePlants:
    say, here, count = voice.say, treatment.here, len(names)
    if treatment.shelter is None:
        way = say("list_stays", count=count, here=here)
    else:
        way = say(
            "list_way",
            to=treatment.shelter,
            usual=treatment.usual or "",
            sure=treatment.is_sure,
            count=count,
            here=here,
        )
    water = say(
        "list_water",
        holder=treatment.holder,
        misted=treatment.misted,
        bare=treatment.bare,
        watered=treatment.watered,
        count=count,
    )
    crowns = [say("list_crowns")] if treatment.tender_crown else []
    return AlikePlants(tuple(names), (way, water, *crowns))


def text(shown: HelperList, columns: int = WIDTH) -> str:
    """Return the list as plain text of lines no wider than so many columns, with boxes to tick on
    paper."""
    return "\n".join(wrapped(line, columns) for line in _lines(shown)).rstrip() + "\n"


def _lines(shown: HelperList) -> Iterator[str]:
    yield shown.title
    yield shown.span
    if shown.blanks:
        yield ""
        yield from (f"{blank} {'_' * (60 - len(blank))}" for blank in shown.blanks)
    for section in shown.before:
        yield from _section(section)
    for spot in shown.spots:
        yield ""
        yield spot.heading.upper()
        for plants in spot.plants:
            yield f"  {', '.join(plants.names)}"
            yield f"    {' '.join(plants.lines)}"
    for section in shown.after:
        yield from _section(section)


def _section(section: Section) -> Iterator[str]:
    yield ""
    yield section.heading.upper()
    yield from (f"  - {line}" for line in section.lines)
