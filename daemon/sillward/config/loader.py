"""Reading a collection file: every error of the file is reported at once."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from pydantic import SecretStr

from sillward.config import build_collection, cross_checks
from sillward.config.changes import Change, changed
from sillward.config.channel import Channel, is_mail
from sillward.config.collection_file import TABLES, read_document
from sillward.config.credentials import folded_name
from sillward.config.feed_tables import GivenReader
from sillward.config.household import Household
from sillward.config.models import (
    ChannelTable,
    FeedTable,
    HabitsTable,
    NoticesTable,
    PageTable,
    RoundsTable,
    SiteTable,
    SpotTable,
    WaterTable,
)
from sillward.config.place import FILE, Place, entry
from sillward.config.plant_tables import MostPlants, all_names, names_together, read_plants
from sillward.config.sensor_tables import PasswordFor, read_broker, read_sensors
from sillward.config.toml_lines import LineFinder
from sillward.config.validation import TableReader
from sillward.errors import ConfigError
from sillward.wording.macros import MayRead, Wording, packaged, with_own
from sillward_rules.plants.collection import Collection, Habits, Recipe
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.rules import Rule
from sillward_rules.plants.water_chemistry import Water
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot

GivenTable = TypeVar("GivenTable", RoundsTable, NoticesTable, PageTable)

UrlFor = Callable[[str], SecretStr | None]


def load_household(
    path: Path,
    url_for: UrlFor = lambda _: None,
    changes: Sequence[Change] = (),
    mqtt_password: PasswordFor = lambda: None,
    key: str | None = None,
    may_read: MayRead = lambda _: True,
    tables: Mapping[str, Any] | None = None,
    most_plants: MostPlants | None = None,
) -> Household:
    """Read a collection file. Raise ConfigError with every error in it, one line each.

    url_for: returns the URL of a channel whose entry has none, from the environment or from a
        credential file.
    changes: made in the file's tables before these are checked; the file is valid without them.
    mqtt_password: returns the password for the broker.
    key: the key of its site, if that is another than the name in the file.
    may_read: whether wording may be read from a folder or file that the collection leads to.
    tables: what is taken for the content of the file, which is not read then.
    most_plants: how many plants there may be.
    """
    reader = TableReader(path.name)
    document = _read_tables(reader, path, changes, tables)
    site = _read_site(reader, document, key)
    spots = _read_spots(reader, document)
    plants = read_plants(reader, document, spots, most_plants)
    together = names_together(document.get("plants"))
    rules = _read_rules(reader, document, spots, together)
    habits = _read_habits(reader, document)
    water = _read_water(reader, document)
    plants = plants if water is None else list(map(build_collection.with_medium_limit, plants))
    feed = _read_feed(reader, document, water)
    given = GivenReader(reader, plants, _known_names(document, spots), together, feed, water)
    feeds = given.feeds(document)
    courses = given.courses(document, feeds)
    times = _table_or_usual(reader, RoundsTable, document, "rounds")
    notices = _table_or_usual(reader, NoticesTable, document, "notices")
    wording = _read_wording(reader, notices, path, may_read)
    page = _table_or_usual(reader, PageTable, document, "page")
    channels = _read_channels(reader, document, url_for, page.people)
    broker = read_broker(reader, document, path.parent, mqtt_password)
    sensors = read_sensors(reader, document, spots)
    if reader.errors or site is None:
        raise ConfigError(reader.told())
    rounds = build_collection.build_rounds(times, notices)
    return Household(
        Collection(
            site,
            tuple(spot for spot in spots.values() if spot is not None),
            tuple(plants),
            (*standard_rules(), *rules),
            replace(habits, told_at=rounds.dusk, morning_at=rounds.morning),
            feed,
            water,
            feeds,
            courses,
        ),
        rounds,
        tuple(channels),
        build_collection.build_policy(notices),
        build_collection.build_units(notices),
        wording,
        broker,
        sensors,
        tuple(page.people),
    )


def _table_or_usual(
    reader: TableReader, kind: type[GivenTable], document: Mapping[str, Any], name: str
) -> GivenTable:
    """Return a table of settings; with all its defaults if it is left out, or wrong."""
    return reader.read(kind, document.get(name, {}), FILE.at(name)) or kind()


def _read_tables(
    reader: TableReader,
    path: Path,
    changes: Sequence[Change],
    tables: Mapping[str, Any] | None,
) -> Mapping[str, Any]:
    """Return the tables of a file, with changes made in them."""
    document, text = read_document(path) if tables is None else (dict(tables), "")
    if changes:  # what is changed has no line in the file
        document = changed(document, changes)
    elif tables is None:
        reader.lines = LineFinder(text)
    plain: Mapping[str, Any] = reader.with_plain_text(document)
    for key in plain:
        if key not in TABLES:
            reader.report(FILE.at(key), f"unknown table (known: {', '.join(TABLES)})")
    return plain


def _read_site(reader: TableReader, document: Mapping[str, Any], key: str | None) -> Site | None:
    if "site" not in document:
        reader.report(FILE.at("site"), "the table [site] is missing")
        return None
    table = reader.read(SiteTable, document["site"], FILE.at("site"))
    return None if table is None else build_collection.build_site(table, key)


def _read_spots(reader: TableReader, document: Mapping[str, Any]) -> dict[str, Spot | None]:
    """Return the spots by name.

    None stands for a spot that is there but wrong, so that its plants are not reported too.
    """
    raw = document.get("spots", {})
    if not isinstance(raw, Mapping) or not raw:
        reader.report(FILE.at("spots"), "there are no spots; add a table such as [spots.bench]")
        return {}
    return {name: _read_spot(reader, name, table) for name, table in raw.items()}


def _read_spot(reader: TableReader, name: str, raw: object) -> Spot | None:
    where = FILE.at("spots").at(name)
    table = reader.read(SpotTable, raw, where)
    if table is None or not cross_checks.check_spot(reader, where, table):
        return None
    return build_collection.build_spot(name, table)


def _read_rules(
    reader: TableReader,
    document: Mapping[str, Any],
    spots: Mapping[str, Spot | None],
    together: Mapping[str, Sequence[str]],
) -> list[Rule]:
    rules: list[Rule] = []
    known = _known_names(document, spots)
    for index, raw in enumerate(reader.list_of_tables(document, "rules") or []):
        where = entry("rules", index, raw)
        if not isinstance(raw, Mapping):
            reader.report(where, "must be a table under [[rules]]")
            continue
        rule, problems = read_rule(raw)
        for problem in problems:
            reader.report(where, f"{problem.key}: {problem.text}", *problem.key.split("."))
        if rule is not None:
            chosen = build_collection.with_known_names(rule.plants, together)
            rule = replace(rule, plants=chosen)
            cross_checks.check_chosen_names(reader, where, rule.plants, known)
            rules.append(rule)
    return rules


def _known_names(
    document: Mapping[str, Any], spots: Mapping[str, Spot | None]
) -> dict[str, set[str]]:
    """Return the names that there are, by the key of a choice of plants."""
    return {
        "home": set(spots),
        "group": set(standard_groups()),
        "name": set(all_names(document.get("plants"))),
    }


def _read_habits(reader: TableReader, document: Mapping[str, Any]) -> Habits:
    table = reader.read(HabitsTable, document.get("habits", {}), FILE.at("habits"))
    return Habits() if table is None else build_collection.build_habits(table)


def _read_water(reader: TableReader, document: Mapping[str, Any]) -> Water | None:
    if "water" not in document:
        return None
    table = reader.read(WaterTable, document["water"], FILE.at("water"))
    return None if table is None else build_collection.build_water(table)


def _read_feed(
    reader: TableReader, document: Mapping[str, Any], water: Water | None
) -> Recipe | None:
    if "feed" not in document:
        return None
    where = FILE.at("feed")
    table = reader.read(FeedTable, document["feed"], where)
    if table is None or not cross_checks.check_feed(reader, table, where):
        return None
    try:
        return build_collection.build_feed(table, water)
    except ValueError as error:
        reader.report(where, str(error))
        return None


def _read_wording(
    reader: TableReader, table: NoticesTable, path: Path, may_read: MayRead
) -> Wording:
    """Return the packaged wording, with the grower's own macros where there are any."""
    if table.wording is None:
        return packaged()
    where = FILE.at("notices").at("wording")
    try:
        return with_own(path.parent / Path(table.wording).expanduser(), may_read)
    except ConfigError as error:
        for line in error.lines:
            reader.report(where, line)
    except RuntimeError as error:  # the home of a user that does not exist
        reader.report(where, f"{table.wording}: {error}")
    return packaged()


def _read_channels(
    reader: TableReader, document: Mapping[str, Any], url_for: UrlFor, people: Sequence[str]
) -> list[Channel]:
    """Return the channels. people: who sign in to the page; a channel's person is one of them if
    the names differ in capitals and the like alone."""
    written = {folded_name(name): name for name in people}
    channels: list[Channel] = []
    names: set[str] = set()
    for index, raw in enumerate(reader.list_of_tables(document, "channels") or []):
        where = _channel_entry(index, raw)
        table = reader.read(ChannelTable, _with_secret_url(raw), where, secret=True)
        if table is None:
            continue
        if table.name in names:
            reader.report(where, "the name is already taken; make it unique", "name")
        names.add(table.name)
        url = table.url or url_for(table.name)
        full = table.length == "full" if table.length else is_mail(url)
        rounds = tuple(table.rounds)
        person = table.person and written.get(folded_name(table.person), table.person)
        channels.append(Channel(table.name, url, rounds, table.all_clear, full, person))
    if channels and not any(channel.rounds for channel in channels):
        reader.report(
            FILE.at("channels"), "none of them is told anything; give one of them its rounds"
        )
    return channels


def _channel_entry(index: int, raw: object) -> Place:
    """Return how errors name a channel: by its name only if that cannot be a URL, a secret."""
    name = raw.get("name") if isinstance(raw, Mapping) else None
    is_name = isinstance(name, str) and re.fullmatch(r"[\w !.-]{1,40}", name)
    return entry("channels", index, raw) if is_name else FILE.at("channels").at(index)


def _with_secret_url(raw: object) -> object:
    """Return the entry with its URL wrapped, so that it is in no message from here on."""
    if isinstance(raw, Mapping) and isinstance(raw.get("url"), str):
        return {**raw, "url": SecretStr(raw["url"])}
    return raw
