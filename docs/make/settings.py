"""The settings that the environment holds: their names, values and defaults, from the model.

What each is for is written here by hand; a setting without such a line is an error.
"""

import json
from collections.abc import Iterator, Mapping
from typing import Any

from docs.make import markdown
from sillward.config.settings import PREFIX, Settings

_MEANINGS: Mapping[str, str] = {
    "COLLECTION": "The collection file.",
    "COLLECTIONS": (
        "A folder of households, in place of one collection file: [many households](households.md)."
    ),
    "PLANTS_PER_HOUSEHOLD": (
        "How many plants each household of `SILLWARD_COLLECTIONS` may have. All share the time of"
        " one process, and a household of 2,000 takes a second of it for a round."
    ),
    "LEDGER": (
        "The SQLite file that remembers what was forecast, told and done. Under systemd the"
        " default is in the service's state folder. Or the address of a database on a PostgreSQL"
        " server, such as `postgresql://sillward@db.example/sillward`; since it may contain a"
        " password, it can also come from a credential file, `ledger-url`."
    ),
    "CHANNELS__NAME": (
        "The URL of the channel `NAME`, for a channel whose entry in the collection has none."
        " Credential file: `channel-NAME`."
    ),
    "CREDENTIALS": (
        "A folder of files with secrets, one in each. Under systemd the default is the folder that"
        " `LoadCredential` fills."
    ),
    "MQTT__PASSWORD": (
        "The password of the `user` of `[mqtt]` in the collection. Credential file:"
        " `mqtt-password`."
    ),
    "PAGE__ADDRESS": (
        "Where `sillward run` serves the page, such as `127.0.0.1:8123`. Any other address than"
        " this machine's own needs a passphrase. With `SILLWARD_COLLECTIONS` each household has"
        " its page [below its own path](households.md#the-page-of-each-household)."
    ),
    "PAGE__URL": (
        "The address at which your phone reaches the page, such as `https://plants.example`. Links"
        " in messages begin with it; without it messages have no links."
    ),
    "PAGE__HOSTS": "Further host names for the page, separated by commas.",
    "PAGE__PROXY": (
        "The address of a web server that passes requests on to the page (a reverse proxy); its"
        " `X-Forwarded` headers are believed."
    ),
    "METRICS__ADDRESS": (
        "Where `sillward run` serves metrics for Prometheus, such as `127.0.0.1:9123`. Without it"
        " none are served. They name nobody, but anyone who can reach that address can read them."
    ),
    "LAST_WORD": (
        "The only channel URL that `sillward stopped` tells. Without it, all of"
        " `SILLWARD_CHANNELS__NAME` and `channel-NAME` are told, but not URLs that are only in"
        " the collection. Credential file: `last-word`."
    ),
    "CALENDAR": "The path of an iCalendar file that `sillward run` keeps up to date.",
    "LOG_LEVEL": "How much is logged.",
    "SERVICE": (
        "The systemd service that looks after the plants, so that `sillward new` can say how to"
        " start it. The Debian package sets it."
    ),
    "HEARTBEAT__URL": (
        "A web address that is called (GET) while all is well, so that a monitor elsewhere notices"
        " when the calls stop. Credential file: `heartbeat-url`."
    ),
    "HEARTBEAT__TROUBLE_URL": (
        "A web address that is called instead while something is wrong. Without it, the calls just"
        " stop. Credential file: `heartbeat-trouble-url`."
    ),
    "HEARTBEAT__EVERY": "The time between two calls.",
    "FORECAST__SOURCE": (
        "`open-meteo`, `met-norway`, or both in your order, separated by a comma. The second is"
        " used when the first fails, is old or has gaps tonight, and the message says so."
    ),
    "FORECAST__BASE_URL": "Another server for the first source.",
    "FORECAST__BASE_URLS__NAME": (
        "Another server for any of them: `BASE_URLS__OPEN_METEO`, `BASE_URLS__MET_NORWAY`,"
        " `BASE_URLS__OPEN_METEO_ENSEMBLE`, and `BASE_URLS__OPEN_METEO_GEOCODING` for the place"
        " names that `sillward new` looks up."
    ),
    "FORECAST__API_KEY": "Your key for Open-Meteo. Credential file: `forecast-api-key`.",
    "FORECAST__CONTACT": (
        "Your mail address or web page, sent to providers that ask for one. MET Norway does."
    ),
    "FORECAST__SECOND_OPINION": (
        "Ask a second source too. If the two differ by more than this about a night, the message"
        " says so and the colder one counts. Needs two sources."
    ),
    "FORECAST__ENSEMBLE": (
        "Whether to ask Open-Meteo for the members of an ensemble, twice a day. They are asked for"
        " where `open-meteo` is among the sources; with a `BASE_URL` of your own only if"
        " `BASE_URLS__OPEN_METEO_ENSEMBLE` is given too."
    ),
}

_DEFAULTS: Mapping[str, str] = {
    "LEDGER": "`~/.local/state/sillward/ledger.sqlite3`",
    "CREDENTIALS": "none",
    "PAGE__HOSTS": "none",
}
"""Of those whose default depends on the machine, or is nothing."""

_UNITS: Mapping[str, str] = {"HEARTBEAT__EVERY": "minutes", "FORECAST__SECOND_OPINION": "K"}


def parts() -> dict[str, str]:
    """The generated parts, by name: the settings of the forecast, and all others."""
    nodes = dict(_leaves())
    if nodes.keys() != _MEANINGS.keys():
        msg = f"settings and meanings differ: {sorted(nodes.keys() ^ _MEANINGS.keys())}"
        raise ValueError(msg)
    of_forecast = [name for name in _MEANINGS if name.startswith("FORECAST__")]
    others = [name for name in _MEANINGS if name not in of_forecast]
    return {
        "settings": _table(others, nodes),
        "settings of the forecast": _table(of_forecast, nodes),
    }


def _leaves() -> Iterator[tuple[str, Mapping[str, Any]]]:
    """Every setting as its variable without the prefix, and its node in the JSON Schema."""
    schema = Settings.model_json_schema()

    def of(properties: Mapping[str, Any], before: str) -> Iterator[tuple[str, Mapping[str, Any]]]:
        for name, node in properties.items():
            variable = f"{before}{name.upper()}"
            if "$ref" in node:
                inner = schema["$defs"][node["$ref"].rpartition("/")[2]]
                yield from of(inner["properties"], f"{variable}__")
            elif node.get("type") == "object":
                yield f"{variable}__NAME", node
            else:
                yield variable, node

    return of(schema["properties"], "")


def _table(names: list[str], nodes: Mapping[str, Mapping[str, Any]]) -> str:
    rows = [(f"`{PREFIX}{name}`", _told(name, nodes[name])) for name in names]
    return markdown.table(("Variable", "Meaning"), rows)


def _told(name: str, node: Mapping[str, Any]) -> str:
    return f"{_MEANINGS[name]} ({_value(name, node)}; default {_default(name, node)})"


def _value(name: str, node: Mapping[str, Any]) -> str:
    choices = [choice for choice in node.get("anyOf", [node]) if choice.get("type") != "null"]
    (one,) = choices
    one = one.get("additionalProperties", one) if one.get("type") == "object" else one
    if "enum" in one:
        return " or ".join(f"`{word}`" for word in one["enum"])
    if one["type"] == "boolean":
        return "`true` or `false`"
    if one["type"] == "number":
        return f"number, {_UNITS[name]}, {one['minimum']:g} to {one['maximum']:g}"
    return {"password": "secret text", "path": "path"}.get(one.get("format", ""), "text")


def _default(name: str, node: Mapping[str, Any]) -> str:
    if name in _DEFAULTS:
        return _DEFAULTS[name]
    value = node.get("default")
    if value is None or value == {}:
        return "none"
    return f"`{value}`" if isinstance(value, str) else f"`{json.dumps(value)}`"
