"""What a column of a file holds, by its head: the variable, its unit, and when it was forecast."""

import re
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass

from sillward.errors import one_line
from sillward.forecast.parsing import Reading
from sillward.forecast.sources import open_meteo
from sillward_rules.arrays import Array

USED = tuple(name for name in open_meteo.READ if name != "surface_pressure")
"""The variables that a weather is made of, by Open-Meteo's names."""

_FORMER = {
    "relativehumidity_2m": "relative_humidity_2m",
    "dewpoint_2m": "dew_point_2m",
    "cloudcover": "cloud_cover",
    "cloudcover_low": "cloud_cover_low",
    "cloudcover_mid": "cloud_cover_mid",
    "cloudcover_high": "cloud_cover_high",
    "windspeed_10m": "wind_speed_10m",
    "windgusts_10m": "wind_gusts_10m",
    "weathercode": "weather_code",
}
"""Names that Open-Meteo had until 2023."""

API_NAMES = {**{name: name for name in USED}, **_FORMER}
"""The variables by the names that Open-Meteo gives them in its answers."""

_PLAIN = {
    "temperature_2m": "temperature temp air_temperature air_temp t_air t2m",
    "dew_point_2m": "dew_point dewpoint dew dew_point_temperature",
    "relative_humidity_2m": "relative_humidity humidity rh",
    "cloud_cover": "cloud clouds cloudiness cloudcover sky_cover",
    "cloud_cover_low": "cloud_low low_cloud",
    "cloud_cover_mid": "cloud_middle cloud_mid middle_cloud",
    "cloud_cover_high": "cloud_high high_cloud",
    "wind_speed_10m": "wind wind_speed windspeed",
    "wind_gusts_10m": "gust gusts wind_gust wind_gusts gust_speed",
    "precipitation": "rain rainfall precip",
    "direct_radiation": "direct_sun",
    "diffuse_radiation": "diffuse_light dhi",
    "shortwave_radiation": "global_radiation solar_radiation ghi",
}
NAMES = {
    **{plain: name for name, words in _PLAIN.items() for plain in words.split()},
    **API_NAMES,
}
"""The variables by every name that a column of a file may have."""

_Scale = tuple[float, float]
"""What a value is multiplied by, and what is added then."""

_SAME: _Scale = (1.0, 0.0)

_FAHRENHEIT = ("°f", "f", "degf", "deg_f", "fahrenheit")
_MPH = ("mph", "mp/h", "mi/h")
_INCHES = ("in", "inch", "inches")

_UNITS: Mapping[str, Mapping[str, _Scale]] = {
    "°C": {
        **dict.fromkeys(("°c", "c", "degc", "deg_c", "celsius"), _SAME),
        **dict.fromkeys(_FAHRENHEIT, (1 / 1.8, -32 / 1.8)),
        **dict.fromkeys(("k", "kelvin"), (1.0, -273.15)),
    },
    "%": {
        **dict.fromkeys(("%", "percent", "pct", "%rh", "rh"), _SAME),
        **dict.fromkeys(("1", "0-1", "0..1", "fraction", "share"), (100.0, 0.0)),
        **dict.fromkeys(("okta", "oktas", "/8"), (12.5, 0.0)),
        **dict.fromkeys(("tenths", "/10"), (10.0, 0.0)),
    },
    "m/s": {
        **dict.fromkeys(("m/s", "ms", "m_s", "mps", "ms-1"), _SAME),
        **dict.fromkeys(("km/h", "kmh", "km_h", "kph"), (1 / 3.6, 0.0)),
        **dict.fromkeys(_MPH, (0.44704, 0.0)),
        **dict.fromkeys(("kn", "kt", "kts", "knots"), (1852 / 3600, 0.0)),
    },
    "mm": {
        **dict.fromkeys(("mm", "l/m2", "kg/m2"), _SAME),
        **dict.fromkeys(_INCHES, (25.4, 0.0)),
        "cm": (10.0, 0.0),
    },
    "W/m²": dict.fromkeys(("w/m2", "w_m2", "wm-2", "wh/m2"), _SAME),
    "wmo code": dict.fromkeys(("wmocode", "wmo"), _SAME),
}
"""The units that a file may have, by the unit that its values are read in. Exact: the mile has
1609.344 m, the nautical mile 1852 m, the inch 25.4 mm."""

IMPERIAL = frozenset((*_FAHRENHEIT, *_MPH, *_INCHES))
"""Units after which a column without one may be in such a unit too."""

_OF_DAY = re.compile(r"(?P<name>.+)_previous_day(?P<day>[1-7])", re.ASCII)
_IN_BRACKETS = re.compile(r"(?P<name>[^(\[,]*)[(\[](?P<unit>[^)\]]*)[)\]]?.*")
_AFTER_COMMA = re.compile(r"(?P<name>[^,]+),\s*(?P<unit>\S+).*")


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a file.

    Args:
        head: its head, as the file has it.
        name: its variable, by Open-Meteo's name.
        unit: its unit, as `spelled`; None if the head says none.
        lead_day: how many days before it was forecast; 0 for what came.
        has_api_name: whether the head has the name that Open-Meteo gives the variable.
    """

    head: str
    name: str
    unit: str | None
    lead_day: int = 0
    has_api_name: bool = True

    @property
    def expected(self) -> str:
        """The unit in which its variable is read."""
        return open_meteo.READ[self.name].unit

    @property
    def shown(self) -> str:
        """The head as remarks show it."""
        return one_line(self.head, 40)

    @property
    def quoted(self) -> str:
        """The head as errors quote it."""
        return f'"{self.shown}"'


def spelled(unit: str) -> str:
    """Return a unit in the one spelling that the table of units has."""
    plain = unit.replace("℃", "°C").replace("℉", "°F").casefold()
    plain = plain.replace("²", "2").replace("⁻¹", "-1").replace("º", "°")
    return re.sub(r"[\s·]", "", plain)


def units(expected: str) -> Collection[str]:
    """Return the units, as `spelled`, that are converted to this one."""
    return _UNITS[expected].keys()


def alike(unit: str | None, other: str | None, expected: str) -> bool:
    """Whether two units, as `spelled`, are the same, or one of them is not said or not known."""
    table = _UNITS[expected]
    return table.get(unit or "") in (None, table.get(other or ""))


def parts_of(head: str) -> tuple[str, str | None]:
    """Return the name in a head, in lower case with _ between words, and what it says behind it.

    "Temp, °C (sensor 1)", "Temperature [°C]" and "wind (m/s)" are the ways that are known.
    """
    found = _AFTER_COMMA.fullmatch(head) or _IN_BRACKETS.fullmatch(head)
    name, unit = (head, None) if found is None else (found["name"], found["unit"].strip())
    return re.sub(r"[^0-9a-z]+", "_", name.casefold()).strip("_"), unit or None


def column_of(head: str, names: Mapping[str, str] = NAMES) -> Column | None:
    """Return what a column is by its head; None if that is not known.

    names: the variables by the names that are accepted.
    """
    name, unit = parts_of(head)
    of_day = _OF_DAY.fullmatch(name)
    day = 0 if of_day is None else int(of_day["day"])
    words = (name if of_day is None else of_day["name"]).split("_")
    for cut in range(len(words), 0, -1):
        called, ending = "_".join(words[:cut]), "_".join(words[cut:])
        if called not in names:
            continue
        variable = names[called]
        if ending and (unit is not None or ending not in _UNITS[open_meteo.READ[variable].unit]):
            return None
        says = ending or (None if unit is None else spelled(unit))
        return Column(head, variable, says, day, called in API_NAMES)
    return None


def chosen(columns: Iterable[Column], reader: Reading) -> list[Column]:
    """Return the columns, one for each variable and day. Raise SourceError for two of the same.

    One with the name that Open-Meteo gives it counts before others: "precipitation" next to "rain".
    """
    found: dict[tuple[int, str], Column] = {}
    for column in sorted(columns, key=lambda column: not column.has_api_name):
        first = found.setdefault((column.lead_day, column.name), column)
        if first is not column and first.has_api_name == column.has_api_name:
            reader.refuse(f"has two columns of the same: {first.quoted} and {column.quoted}")
    return list(found.values())


def converted(values: Array, column: Column, reader: Reading) -> Array:
    """Return values in the unit in which their variable is read. Raise SourceError.

    The column must have a unit.
    """
    table = _UNITS[column.expected]
    unit = column.unit or ""
    if unit not in table:
        known = ", ".join(dict.fromkeys(name for name in table if name != "1"))
        reader.refuse(f"gives {column.quoted} in an unknown unit; known are {known}")
    factor, offset = table[unit]
    return values * factor + offset


def is_converted(column: Column) -> bool:
    """Whether a column has another unit than that in which its variable is read."""
    return _UNITS[column.expected].get(column.unit or "", _SAME) != _SAME
