"""The collection file: TOML in, the core's types out, every error of the file told at once."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from pydantic import SecretStr

from sillward import files
from sillward.config import bounded_toml, group_lookup
from sillward.config.models import (
    NEVER,
    ChannelTable,
    FeedTable,
    HabitsTable,
    NoticesTable,
    PlantTable,
    RoundsTable,
    SiteTable,
    SpotTable,
    Told,
)
from sillward.config.quiet_hours import Quiet
from sillward.config.validation import Reader, entry, key_of
from sillward.errors import MOST_LINES, ConfigError
from sillward.text import printable
from sillward.text.units import SI, Units
from sillward.wording.macros import Wording, packaged, with_own
from sillward.wording.voice import Voice
from sillward_rules.plants.collection import Collection, Habits, Recipe
from sillward_rules.plants.fertiliser import SALTS, Fertiliser, Mix, grams_per_litre_for, parse_npk
from sillward_rules.plants.group_names import alias_named
from sillward_rules.plants.groups import standard_groups
from sillward_rules.plants.plant import (
    GrowsClass,
    Limit,
    Limits,
    Plant,
    RestClass,
    RotClass,
    overridden,
    tenderest,
)
from sillward_rules.plants.rule_reading import read_rule, standard_rules
from sillward_rules.plants.rules import Chosen, Rule
from sillward_rules.weather import time_expressions
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import PLANT_HEIGHT_M, Spot, SunWindow


@dataclass(frozen=True, slots=True)
class Rounds:
    """When the grower is told."""

    dusk: time_expressions.Moment
    morning: time_expressions.Moment
    week: time_expressions.WeeklyMoment
    quiet: Quiet = field(default_factory=Quiet)


@dataclass(frozen=True, slots=True)
class Manners:
    """What follows a round: all of it judgement that the collection can change."""

    remind: timedelta | None = timedelta(minutes=30)
    """What is not acknowledged is repeated this long before its deadline; None: never."""

    pass_on: timedelta | None = timedelta(minutes=15)
    """... and told to the next channel this long before it; None: never."""

    moved_by: timedelta = timedelta(minutes=20)
    """A newer forecast that moves an hour by no more than this is not told."""

    most: int = 6
    """Most messages of a round to a channel, changes and reminders included."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One way to reach the grower: what it is told, at what length, also when nothing is to do.

    url None: neither the file nor the environment nor a credential has one. One can look at
    sheets without; sending needs it.
    """

    name: str
    url: SecretStr | None
    rounds: tuple[Told, ...]
    all_clear: bool
    full_length: bool

    @property
    def full_mail(self) -> bool:
        """Whether it is a mail that is told in full."""
        return self.full_length and is_mail(self.url)


def is_mail(url: SecretStr | None) -> bool:
    """Whether what is sent there is a mail."""
    return url is not None and url.get_secret_value().lower().startswith("mailto")


@dataclass(frozen=True, slots=True)
class Household:
    """A collection with its rounds and channels: the whole file."""

    collection: Collection
    rounds: Rounds
    channels: tuple[Channel, ...]
    manners: Manners = Manners()
    units: Units = SI
    wording: Wording = field(default_factory=packaged, repr=False)
    voice: Voice = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        """One voice for all that speaks to this household: it keeps its macros."""
        object.__setattr__(self, "voice", Voice(self.collection.site, self.units, self.wording))


MOST_BYTES = 5_000_000
"""Of a collection file. Judgement: some 50,000 plants."""

UrlFor = Callable[[str], SecretStr | None]

_TABLES = (
    "site", "spots", "plants", "rules", "habits", "feed", "rounds", "notices", "channels",
)  # fmt: skip


def load_household(path: Path, url_for: UrlFor = lambda _: None) -> Household:
    """Read a collection file. Raise ConfigError with every error in it, one line each.

    url_for gives the URL of a channel whose entry has none (from the environment or from a
    credential file).
    """
    reader = Reader(path.name)
    document = reader.made_plain(_parse(path))
    for key in document:
        if key not in _TABLES:
            reader.wrong(key, f"unknown table (known: {', '.join(_TABLES)})")
    site = _site(reader, document)
    spots = _spots(reader, document)
    plants = _plants(reader, document, spots)
    rules = _rules(reader, document, spots, _names(document))
    habits = _habits(reader, document)
    feed = _feed(reader, document)
    rounds = _rounds(reader, document)
    notices = reader.table(NoticesTable, document.get("notices", {}), "notices")
    quiet, manners = _notices(notices or NoticesTable())
    wording = _wording(reader, notices, path)
    channels = _channels(reader, document, url_for)
    if reader.errors or site is None:
        raise ConfigError(reader.errors)
    known = tuple(spot for spot in spots.values() if spot is not None)
    return Household(
        Collection(
            site,
            known,
            tuple(plants),
            (*standard_rules(), *rules),
            replace(habits, told_at=rounds.dusk, morning_at=rounds.morning),
            feed,
        ),
        replace(rounds, quiet=quiet),
        tuple(channels),
        manners,
        _units(notices or NoticesTable()),
        wording,
    )


def is_collection(data: bytes) -> bool:
    """Whether what a file holds is a collection, right or wrong, or nothing at all."""
    try:
        document = bounded_toml.parse(data.decode("utf-8-sig"))
    except ValueError:
        return False
    return not data or ("site" in document and document.keys() <= set(_TABLES))


def _parse(path: Path) -> dict[str, Any]:
    text = ""
    try:
        text = files.read(path, MOST_BYTES).decode("utf-8-sig")
        return bounded_toml.parse(text)
    except OSError as error:
        reason = error.strerror or error
        line = f"{path}: cannot be read: {reason}"
    except UnicodeDecodeError as error:
        line = f"{path.name}: is not UTF-8 text (byte {error.start})"
    except ValueError as error:
        said = str(error).splitlines()[0]
        line = f"{path.name}: is not valid TOML: {said:.200}{_hint(text, said)}"
    raise ConfigError([line])


_HINTS = (
    (
        r"^\s*\[+[^\]\"']*([^\x00-\x7f]|\w +\w)",
        "a name with a space or a letter beyond a to z needs quotes",
    ),
    (r"[\u201c\u201d\u201e\u2018\u2019]", 'use straight quotes: "'),
    (r"=\s*-?\d+,\d", "write numbers with a point: 0.4"),
    (r"=\s*[A-Za-z]", 'text needs quotes: "so"'),
)


def _hint(text: str, said: str) -> str:
    """The offending line, with what is usually wrong with such a line."""
    match = re.search(r"at line (\d+)", said)
    lines = text.splitlines()
    if match is None or not 0 < int(match.group(1)) <= len(lines):
        return ""
    line = lines[int(match.group(1)) - 1]
    if "url" in line.lower() or ":/" in line:  # may hold a secret
        return ""
    usual = next((hint for pattern, hint in _HINTS if re.search(pattern, line)), None)
    return f": {printable.escaped(line.strip()[:80])}" + (f" ({usual})" if usual else "")


def _site(reader: Reader, document: Mapping[str, Any]) -> Site | None:
    if "site" not in document:
        reader.wrong("site", "the table [site] is missing")
        return None
    table = reader.table(SiteTable, document["site"], "site")
    if table is None:
        return None
    zone = ZoneInfo(table.zone)
    return Site(table.name, table.latitude, table.longitude, table.elevation, zone)


def _spots(reader: Reader, document: Mapping[str, Any]) -> dict[str, Spot | None]:
    """Spots by name; None for one that is there but wrong, so that its plants do not fail too."""
    raw = document.get("spots", {})
    if not isinstance(raw, Mapping) or not raw:
        reader.wrong("spots", "there are no spots; add a table such as [spots.bench]")
        return {}
    return {name: _spot(reader, name, table) for name, table in raw.items()}


def _spot(reader: Reader, name: str, raw: object) -> Spot | None:
    where = f"spots.{key_of(name)}"
    table = reader.table(SpotTable, raw, where)
    if table is None:
        return None
    wrong = len(reader.errors)
    if not table.indoors:
        for key in ("night_low", "day_low", "humidity"):
            if getattr(table, key) is not None:
                reader.wrong(where, f"{key} is for indoor spots; outdoors the weather decides")
    elif table.night_low is not None and table.night_offset is not None:
        reader.wrong(where, "give night_low (it holds that) or night_offset (it follows), not both")
    if len(reader.errors) > wrong:
        return None
    windows = None
    if table.sun is not None:
        windows = tuple(SunWindow(one.azimuth_from, one.to, one.above) for one in table.sun)
    return Spot(
        name=name,
        indoors=table.indoors,
        sky_view=table.sky_view,
        wind=table.wind,
        shade=table.shade,
        rain=table.rain,
        height_m=PLANT_HEIGHT_M if table.height is None else table.height,
        sun_windows=windows,
        night_offset_k=table.night_offset,
        day_offset_k=table.day_offset,
        night_low_c=table.night_low,
        day_low_c=table.day_low,
        humidity_pct=table.humidity,
    )


def _plants(
    reader: Reader, document: Mapping[str, Any], spots: Mapping[str, Spot | None]
) -> list[Plant]:
    plants: list[Plant] = []
    seen: dict[str, int] = {}
    rows = reader.rows(document, "plants")
    if rows == []:
        reader.wrong("plants", "there are no plants; add a table under [[plants]]")
    for index, raw in enumerate(rows or []):
        name = raw.get("name") if isinstance(raw, Mapping) else None
        where = entry("plants", index, raw)
        if isinstance(name, str) and name in seen:
            reader.wrong(
                where, f"the name is already taken by plants[{seen[name]}]; make it unique"
            )
        if isinstance(name, str):
            seen.setdefault(name, index)
        table = reader.table(PlantTable, raw, where)
        if table is not None:
            _check_limits(reader, where, table)
        _check_places(reader, where, raw, spots)
        named = _check_groups(reader, where, raw)
        if table is not None and named is not None:
            plants.append(_plant(table, named))
    return plants


def _check_limits(reader: Reader, where: str, table: PlantTable) -> None:
    low, brief, high = table.limits.night_low, table.limits.brief_low, table.limits.day_high
    if low is not None and brief is not None and brief > low:
        reader.wrong(where, f"limits.brief_low {brief:g} is above limits.night_low {low:g}")
    rest = table.limits.rest_low
    if low is not None and rest is not None and rest > low:
        reader.wrong(where, f"limits.rest_low {rest:g} is above limits.night_low {low:g}")
    if brief is not None and rest is not None and brief > rest:
        reader.wrong(where, f"limits.brief_low {brief:g} is above limits.rest_low {rest:g}")
    dim, bright = table.limits.light_low, table.limits.light_high
    if dim is not None and bright is not None and dim >= bright:
        reader.wrong(where, f"limits.light_low {dim:g} is not below limits.light_high {bright:g}")
    if low is not None and high is not None and low >= high:
        reader.wrong(where, f"limits.night_low {low:g} is not below limits.day_high {high:g}")


def _check_places(
    reader: Reader, where: str, raw: object, spots: Mapping[str, Spot | None]
) -> None:
    if not isinstance(raw, Mapping):
        return
    for key in ("home", "shelter"):
        name = raw.get(key)
        if isinstance(name, str) and name not in spots:
            hint = reader.hint(name, spots)
            reader.wrong(
                where, f'{key} "{name}" is not one of your spots{hint} (spots: {", ".join(spots)})'
            )
    if isinstance(raw.get("home"), str) and raw.get("home") == raw.get("shelter"):
        reader.wrong(where, "home and shelter are the same spot; leave shelter out to stay put")


def _check_groups(reader: Reader, where: str, raw: object) -> list[str] | None:
    """The plant's groups as the file names them, or None if something about them is wrong."""
    if not isinstance(raw, Mapping):
        return None
    group, parents = raw.get("group"), raw.get("parents")
    if group is not None and parents is not None:
        reader.wrong(where, "give group or parents, not both")
        return None
    names = [group] if group is not None else parents if isinstance(parents, list) else []
    if not names:
        limits = raw.get("limits")
        if not isinstance(limits, Mapping) or "night_low" not in limits:
            reader.wrong(where, "give group, or parents, or at least limits.night_low of your own")
            return None
        return []
    wrong = False
    for name in [one for one in names if isinstance(one, str)]:
        taken = group_lookup.resolve(name, suggest=len(reader.errors) < MOST_LINES)
        if taken.group is None:
            reader.wrong(where, taken.problem)
            wrong = True
    return None if wrong or not all(isinstance(name, str) for name in names) else names


def _plant(table: PlantTable, named: Sequence[str]) -> Plant:
    parents = [group for name in named if (group := group_lookup.resolve(name).group)]
    groups = [standard_groups()[name] for name in parents]
    own = table.limits
    mine = Limits(
        **{
            key: Limit(float(value), "your own limit")
            for key, value in own.model_dump(exclude={"rot", "rest", "grows"}).items()
            if value is not None
        },
        rot=RotClass(own.rot, "your own") if own.rot else None,
        rest=RestClass(own.rest, "your own") if own.rest else None,
        grows=GrowsClass(own.grows, "your own") if own.grows else None,
    )
    bare = any(group.velamen for group in groups) and table.holder in ("basket", "mount")
    return Plant(
        name=table.name,
        home=table.home,
        shelter=table.shelter,
        holder=table.holder,
        limits=overridden(tenderest([group.limits for group in groups]), mine),
        groups=tuple(parents),
        named=tuple(named),
        velamen=bare if table.velamen is None else table.velamen,
    )


def _names(document: Mapping[str, Any]) -> list[str]:
    """Names of all plants, those that are wrong otherwise included."""
    rows = document.get("plants")
    tables = [one for one in rows if isinstance(one, Mapping)] if isinstance(rows, list) else []
    return [one["name"] for one in tables if isinstance(one.get("name"), str)]


def _rules(
    reader: Reader,
    document: Mapping[str, Any],
    spots: Mapping[str, Spot | None],
    names: Sequence[str],
) -> list[Rule]:
    rules = []
    known = {
        "home": set(spots),
        "group": set(standard_groups()),
        "name": set(names),
    }
    for index, raw in enumerate(reader.rows(document, "rules") or []):
        where = entry("rules", index, raw)
        if not isinstance(raw, Mapping):
            reader.wrong(where, "must be a table under [[rules]]")
            continue
        rule, problems = read_rule(raw)
        for problem in problems:
            reader.wrong(where, f"{problem.key}: {problem.text}")
        if rule is None:
            continue
        rule = replace(rule, plants=_by_groups(rule.plants))
        for key, among in known.items():
            for missing in [one for one in getattr(rule.plants, key) if one not in among]:
                hint = reader.hint(missing, sorted(among))
                if key == "group" and len(reader.errors) < MOST_LINES:
                    hint = group_lookup.suggestion(missing)
                reader.wrong(where, f'plants.{key}: there is no "{missing}"{hint}')
        rules.append(rule)
    return rules


def _by_groups(chosen: Chosen) -> Chosen:
    """The choice with groups by their own names: a name of several groups chooses them all."""
    named = [(name, alias_named(name)) for name in chosen.group]
    groups = [group for name, alias in named for group in (alias.groups if alias else (name,))]
    return replace(chosen, group=tuple(dict.fromkeys(groups)))


def _habits(reader: Reader, document: Mapping[str, Any]) -> Habits:
    table = reader.table(HabitsTable, document.get("habits", {}), "habits")
    if table is None:
        return Habits()
    given = table.model_dump(exclude_none=True)
    renamed = {
        "out_margin": "out_margin_k",
        "wet_margin": "wet_margin_k",
        "mist_from": "mist_from_c",
        "feed_from": "feed_from_c",
    }
    values: dict[str, Any] = {}
    for key, value in given.items():
        if key == "in_by":
            value = time_expressions.parse_moment(value)
        elif key == "hours":
            value = tuple(time_expressions.parse_hours(text) for text in value)
        elif isinstance(value, str):
            value = time_expressions.parse_duration(value)
        values[renamed.get(key, key)] = value
    return Habits(**values)


def _feed(reader: Reader, document: Mapping[str, Any]) -> Recipe | None:
    if "feed" not in document:
        return None
    table = reader.table(FeedTable, document["feed"], "feed")
    if table is None:
        return None
    if (table.ppm_n is None) is (table.grams_per_litre is None):
        reader.wrong("feed", "give exactly one of ppm_n and grams_per_litre")
        return None
    if table.ppm_n is not None and parse_npk(table.npk)[0] == 0:
        reader.wrong("feed", f"npk {table.npk}: has no nitrogen; give grams_per_litre, not ppm_n")
        return None
    try:
        fertiliser = Fertiliser(
            *parse_npk(table.npk), mg_pct=table.mg, ec_per_100_ppm_n=table.ec_per_100_ppm_n
        )
        grams = table.grams_per_litre
        if grams is None:
            grams = float(grams_per_litre_for(table.ppm_n or 0.0, fertiliser.n_pct))
    except ValueError as error:
        reader.wrong("feed", str(error))
        return None
    salts = tuple((SALTS[name], amount) for name, amount in table.salts.items())
    return Recipe(Mix(fertiliser, grams, table.water_ec, salts), table.litres)


def _rounds(reader: Reader, document: Mapping[str, Any]) -> Rounds:
    table = reader.table(RoundsTable, document.get("rounds", {}), "rounds") or RoundsTable()
    return Rounds(
        time_expressions.parse_moment(table.dusk),
        time_expressions.parse_moment(table.morning),
        time_expressions.parse_weekly(table.week),
    )


def _notices(table: NoticesTable) -> tuple[Quiet, Manners]:
    def ahead(text: str) -> timedelta | None:
        return None if text == NEVER else time_expressions.parse_duration(text)

    hours = None if table.quiet is None else time_expressions.parse_hours(table.quiet)
    moved_by = time_expressions.parse_duration(table.moved_by)
    return Quiet(hours), Manners(ahead(table.remind), ahead(table.pass_on), moved_by, table.most)


def _units(table: NoticesTable) -> Units:
    return Units("°F" if table.temperature.endswith("F") else "°C", table.clock, table.wind)


def _wording(reader: Reader, table: NoticesTable | None, path: Path) -> Wording:
    """The packaged one, with the grower's own in its place."""
    if table is None or table.wording is None:
        return packaged()
    try:
        return with_own(path.parent / Path(table.wording).expanduser())
    except ConfigError as error:
        for line in error.lines:
            reader.wrong("notices.wording", line)
    except RuntimeError as error:  # a home that nobody has
        reader.wrong("notices.wording", f"{table.wording}: {error}")
    return packaged()


def _channels(reader: Reader, document: Mapping[str, Any], url_for: UrlFor) -> list[Channel]:
    channels: list[Channel] = []
    taken: set[str] = set()
    for index, raw in enumerate(reader.rows(document, "channels") or []):
        name = raw.get("name") if isinstance(raw, Mapping) else None
        # A url in the place of the name is still a secret.
        is_name = isinstance(name, str) and re.fullmatch(r"[\w !.-]{1,40}", name)
        where = entry("channels", index, raw) if is_name else f"channels[{index}]"
        table = reader.table(ChannelTable, _secret_url(raw), where, secret=True)
        if table is None:
            continue
        if table.name in taken:
            reader.wrong(where, "the name is already taken; make it unique")
        taken.add(table.name)
        url = table.url or url_for(table.name)
        full = table.length == "full" if table.length else is_mail(url)
        channels.append(Channel(table.name, url, tuple(table.rounds), table.all_clear, full))
    return channels


def _secret_url(raw: object) -> object:
    """The entry with its URL wrapped, so that it is in no message from here on."""
    if isinstance(raw, Mapping) and isinstance(raw.get("url"), str):
        return {**raw, "url": SecretStr(raw["url"])}
    return raw
