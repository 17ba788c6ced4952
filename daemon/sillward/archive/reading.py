"""What a file of past weather is, found out by its content, and its reading."""

import errno
from datetime import date
from pathlib import Path

from sillward import files
from sillward.archive import csv_table, epw, ledger_nights, open_meteo_body
from sillward.archive.table import PastWeather, past_weather
from sillward.errors import SourceError
from sillward.forecast.parsing import Reading
from sillward.ledger import Ledger
from sillward.text import printable
from sillward_rules.weather.site import Site

MAX_BYTES = 64_000_000
"""The largest file that is read. Judgement: ten years of hours and twenty variables take 12 MB,
spread over lines of their own 30 MB."""

_PACKED = (b"PK\x03\x04", b"\x1f\x8b", b"BZh", b"\xfd7zXZ")
_DATABASE = b"SQLite format 3\x00"


def past_of_ledger(ledger: Ledger, site: Site, since: date, within_h: float) -> PastWeather:
    """Return what a ledger that is open knows of past nights, hour by hour (`ledger_nights`).

    since: earlier nights are left out. within_h: how long before its low the forecast of a night
    may have been made [h]. Raise SourceError if it knows of none.
    """
    reader = Reading("the ledger", "it")
    return past_weather(
        ledger_nights.of_archive(ledger.nights, site, since, within_h, reader), site, reader
    )


def read_archive(path: Path, site: Site) -> PastWeather:
    """Return the past weather in a file, for a site.

    Raise SourceError, in one line, for a file that is none of those that can be read, is for
    another place, or holds what can be read in two ways.
    """
    name = printable.escaped(path.name)
    reader = Reading(name, "the file")
    try:
        body = files.read(path, MAX_BYTES)
    except OSError as error:
        reason = error.strerror or str(error)
        if error.errno == errno.EFBIG:
            reason += ": give it in parts"
        msg = f"{name}: cannot be read: {reason}"
        raise SourceError(msg) from error
    start = body[:4096].lstrip(b"\xef\xbb\xbf \t\r\n")
    if not start:
        reader.refuse("is empty")
    if body.startswith(_PACKED):
        reader.refuse("is packed: unpack it first")
    if body.startswith(_DATABASE):
        table = ledger_nights.read(body, site, reader)
    elif start[:1] in (b"{", b"["):
        table = open_meteo_body.read(body, site, reader)
    elif start[:1] == b"<":
        reader.refuse("is a web page, not weather")
    elif start[:9].upper() == b"LOCATION,":
        table = epw.read(body, site, reader)
    else:
        table = csv_table.read(body, site, reader)
    return past_weather(table, site, reader)
