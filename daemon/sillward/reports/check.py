"""What `sillward check --full` prints: all that was understood, and where each limit comes from."""

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sillward.config import group_lookup
from sillward.config.household import Household
from sillward.reports import check_facts, check_warnings, pot_water
from sillward.reports.learned import learned_document
from sillward.reports.limits import limit_rows, limits_document
from sillward.reports.plant_words import size_document, sized
from sillward.text.columns import PIPE, Column, Mark, Screen, table
from sillward.wording.voice import Voice
from sillward_rules.plants.plant import Plant
from sillward_rules.weather import light
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

_LIMITS = (Column(fixed=True), Column(fixed=True), Column())
"""Name, value and origin of a limit."""


def text(
    household: Household,
    now: datetime,
    sources: Sequence[str],
    screen: Screen = PIPE,
    links: check_facts.MessageLinks | None = None,
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
    if unwatered := check_warnings.never_watered(household):
        lines += ["", *screen.lines(f"? {unwatered}")]
    lines.append("")
    elsewhere = list(check_warnings.sent_elsewhere(collection, voice))
    for spot in collection.spots:
        lines += _spot_lines(spot, site, now, voice, screen)
        for told in (text for name, text in elsewhere if name == spot.name):
            lines += screen.lines(f"  {told}")
    facts = check_facts.FactTeller(household, now, sources, links).all()
    lines += ["", *table(facts, check_facts.COLUMNS, screen)]
    found = check_warnings.warnings(household, now)
    for name, warning in found:
        lines += screen.lines(f"! {name}: {warning}" if name else f"! {warning}", Mark.TROUBLE)
    return "\n".join([*lines, *verdict(household, len(found), screen)])


def verdict(household: Household, found: int, screen: Screen) -> list[str]:
    """Return the last line: that all is well, or how many warnings were found, and that nobody is
    told anything."""
    plants = household.voice.plants(len(household.collection.plants))
    wrong = [] if not found else ["1 warning" if found == 1 else f"{found} warnings"]
    if not household.channels:
        wrong.append(check_facts.NOBODY_TOLD)
    if not wrong:
        return screen.lines(f"all is well: {plants}", Mark.OK)
    return screen.lines("; ".join([f"understood: {plants}", *wrong]), Mark.TROUBLE)


def _plant_lines(plant: Plant, voice: Voice, screen: Screen) -> list[str]:
    """Return a plant's groups, places and limits, and what is left open about its groups."""
    kind = " x ".join(map(group_lookup.name_with_group, plant.named or plant.groups)) or "no group"
    roots = ", bare velamen" if plant.velamen else ""
    roots = " of compost" if plant.roots_as_in != plant.holder else roots
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


def document(
    household: Household,
    now: datetime,
    sources: Sequence[str],
    links: check_facts.MessageLinks | None = None,
) -> dict[str, Any]:
    """Return the same as plain types, for JSON."""
    collection = household.collection
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
        **check_warnings.document(household, now),
        "never_watered": list(check_warnings.without_pot(collection)),
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
