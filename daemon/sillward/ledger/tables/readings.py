"""Readings at the spots: of sensors by the hour, by hand one by one, and what was set aside."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import NamedTuple

import numpy as np

from sillward.ledger.database import Database
from sillward_rules.arrays import HOUR_S
from sillward_rules.readings.hourly_readings import HourlyReadings, Quantity, joined

READINGS_DAYS = 800
"""Readings longer ago are forgotten. Judgement: two years, so that seasons can be compared. A
sensor needs some 30 bytes an hour, 270 kB a year."""

SET_ASIDE_DAYS = 60
"""For so long what was set aside is listed. Judgement: well beyond any question about it. It is
known for as long as readings of its time are kept, since the same readings may come again."""

_COLUMNS = "hour, low, low_at, high, mean, first_at, last, last_at, count"


@dataclass(frozen=True, slots=True)
class Sensor:
    """A sensor at a spot, and the newest of its readings.

    Args:
        name: what tells it from others at the same spot: a file, or a topic.
        last: its newest value [°C or %]; last_at: when that was taken.
        first_at: when its first reading was taken, as far as it is kept.
    """

    spot: str
    quantity: Quantity
    name: str
    last: float
    last_at: datetime
    first_at: datetime


class SensorName(NamedTuple):
    """What tells a sensor from all others of a site."""

    spot: str
    quantity: Quantity
    name: str


@dataclass(frozen=True, slots=True)
class HandReading:
    """A reading that a person took.

    Args:
        at: when it was taken, or, for the lowest of a night, when that was read or the night ended.
        night: the date of the evening if it is the lowest of a night; else None.
        id: its number in the ledger; 0 before it is there.
    """

    spot: str
    quantity: Quantity
    value: float
    at: datetime
    night: date | None = None
    id: int = 0


@dataclass(frozen=True, slots=True)
class SetAside:
    """Readings of a sensor in an hour that are not used, and why.

    Args:
        count: how many; first_at, last_at: the first and the last of them.
        example: the value of the last of them, as it came.
    """

    spot: str
    quantity: Quantity
    sensor: str
    hour: datetime
    reason: str
    count: int
    first_at: datetime
    last_at: datetime
    example: str


class ReadingTable:
    """The readings of all sites."""

    def __init__(self, database: Database) -> None:
        self._database = database

    # -- of sensors

    def keep(
        self, site: str, spot: str, quantity: Quantity, sensor: str, coming: HourlyReadings
    ) -> int:
        """Add readings of a sensor to those that are kept. Return how many are new.

        Kept are hundredths. Readings that come twice are not counted twice
        (`hourly_readings.joined`).
        """
        if not len(coming):
            return 0
        with self._database.transaction():
            number = self._number_of(site, spot, quantity, sensor)
            first, last = int(coming.hour[0]), int(coming.hour[-1])
            goes_on = self._only_goes_on(number, coming)
            known = self._hours(number, first, last)
            now = joined(known, coming)
            stored = _stored(now)
            if stored == _stored(known):
                return 0
            self._database.replace_each("reading_hour", [(number, *row) for row in stored])
            added = int(now.count.sum() - known.count.sum())
            if not goes_on:
                self._note_change(site)
        return added

    def _only_goes_on(self, number: int, coming: HourlyReadings) -> bool:
        """Whether all that comes follows on the newest reading of a sensor, in its hour or the
        next."""
        rows = self._database.rows(
            "SELECT hour, last_at FROM reading_hour WHERE sensor = ? ORDER BY hour DESC LIMIT 1",
            number,
        )
        if not rows:
            return False
        newest = rows[0]["hour"] * HOUR_S
        follows = coming.first_at[0] > newest + rows[0]["last_at"]
        return bool(follows and coming.hour[-1] <= newest + HOUR_S)

    def of_spot(
        self,
        site: str,
        spot: str,
        quantity: Quantity,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> dict[str, HourlyReadings]:
        """Return the hours of each sensor at a spot that begin in a span, by the sensor's name.

        Sensors without a reading in it are left out.
        """
        rows = self._database.rows(
            "SELECT id, name FROM sensor WHERE site = ? AND spot = ? AND quantity = ?"
            " ORDER BY name",
            site,
            spot,
            quantity.value,
        )
        first = 0 if since is None else int(since.timestamp())
        last = 2**40 if until is None else int(until.timestamp())
        found = {row["name"]: self._hours(row["id"], first, last) for row in rows}
        return {name: hours for name, hours in found.items() if len(hours)}

    def lowest_since(
        self, site: str, spot: str, quantity: Quantity, since: datetime
    ) -> float | None:
        """Return the lowest reading of a spot in the hours from a moment on; None without any."""
        ((low,),) = self._database.rows(
            "SELECT MIN(low) FROM reading_hour JOIN sensor ON sensor = id"
            " WHERE site = ? AND spot = ? AND quantity = ? AND hour >= ?",
            site,
            spot,
            quantity.value,
            int(since.timestamp()) // HOUR_S,
        )
        return None if low is None else float(low / 100)

    def sensors(self, site: str) -> list[Sensor]:
        """Return the sensors of a site that have readings, by spot, quantity and name."""
        rows = self._database.rows(
            "SELECT spot, quantity, name, last, hour, last_at,"
            " (SELECT MIN(hour) FROM reading_hour WHERE sensor = id) AS first_hour"
            " FROM sensor JOIN reading_hour ON sensor = id AND hour ="
            " (SELECT MAX(hour) FROM reading_hour WHERE sensor = id)"
            " WHERE site = ? ORDER BY spot, quantity, name",
            site,
        )
        return [
            Sensor(
                row["spot"],
                Quantity(row["quantity"]),
                row["name"],
                row["last"] / 100,
                _moment(row["hour"] * HOUR_S + row["last_at"]),
                _moment(row["first_hour"] * HOUR_S),
            )
            for row in rows
        ]

    def names(self, site: str) -> list[SensorName]:
        """Return all sensors of a site, by spot, quantity and name, with readings or without."""
        rows = self._database.rows(
            "SELECT spot, quantity, name FROM sensor WHERE site = ? ORDER BY spot, quantity, name",
            site,
        )
        return [SensorName(row["spot"], Quantity(row["quantity"]), row["name"]) for row in rows]

    def forget(
        self,
        site: str,
        spot: str,
        quantity: Quantity,
        sensor: str,
        since: datetime | None = None,
        until: datetime | None = None,
    ) -> int:
        """Forget the hours of a sensor that begin in a span. Return how many readings these had.

        Without a span the sensor is forgotten altogether, and what was set aside of it.
        """
        first = -1 if since is None else int(since.timestamp() // HOUR_S)
        last = 2**40 if until is None else int(until.timestamp() // HOUR_S)
        with self._database.transaction():
            number = self._number_of(site, spot, quantity, sensor)
            span = " WHERE sensor = ? AND hour BETWEEN ? AND ?"
            hours = self._database.rows(
                f"SELECT count FROM reading_hour{span}", number, first, last
            )
            self._database.execute(f"DELETE FROM reading_hour{span}", number, first, last)
            if since is None and until is None:
                self._database.execute("DELETE FROM set_aside WHERE sensor = ?", number)
                self._database.execute("DELETE FROM sensor WHERE id = ?", number)
            self._note_change(site)
        return sum(int(hour["count"]) for hour in hours)

    def _hours(self, number: int, first: int, last: int) -> HourlyReadings:
        rows = self._database.rows(
            f"SELECT {_COLUMNS} FROM reading_hour WHERE sensor = ? AND hour BETWEEN ? AND ?"
            " ORDER BY hour",
            number,
            -(-first // HOUR_S),
            last // HOUR_S,
        )
        return _read(np.array([tuple(row) for row in rows], np.int64).reshape(-1, 9))

    def _number_of(self, site: str, spot: str, quantity: Quantity, sensor: str) -> int:
        key = (site, spot, quantity.value, sensor)
        self._database.execute(
            "INSERT INTO sensor (site, spot, quantity, name) VALUES (?, ?, ?, ?)"
            " ON CONFLICT DO NOTHING",
            *key,
        )
        ((number,),) = self._database.rows(
            "SELECT id FROM sensor WHERE site = ? AND spot = ? AND quantity = ? AND name = ?", *key
        )
        return int(number)

    # -- by hand

    def add_by_hand(self, site: str, reading: HandReading, entered_at: datetime) -> int:
        """Write a reading that a person took; return its number. It replaces one of the same spot,
        quantity and moment or night, and has its number then."""
        night = None if reading.night is None else reading.night.toordinal()
        with self._database.transaction():
            rows = self._database.rows(
                "SELECT id FROM hand_reading WHERE site = ? AND spot = ? AND quantity = ?"
                " AND (night = ? OR (night IS NULL AND ? IS NULL AND at = ?))",
                site,
                reading.spot,
                reading.quantity.value,
                night,
                night,
                int(reading.at.timestamp()),
            )
            replaced = {"id": rows[0]["id"]} if rows else {}
            for row in rows[:1]:
                self._database.execute("DELETE FROM hand_reading WHERE id = ?", row["id"])
            number = self._database.insert_numbered(
                "hand_reading",
                {
                    **replaced,
                    "site": site,
                    "spot": reading.spot,
                    "quantity": reading.quantity.value,
                    "night": night,
                    "at": int(reading.at.timestamp()),
                    "value": round(reading.value * 100),
                    "entered_at": int(entered_at.timestamp()),
                },
            )
            self._note_change(site)
        return number

    def by_hand(
        self, site: str, spot: str | None = None, since: datetime | None = None
    ) -> list[HandReading]:
        """Return what was read by hand, at one spot or at all, in order of time."""
        rows = self._database.rows(
            "SELECT * FROM hand_reading WHERE site = ? AND (? IS NULL OR spot = ?) AND at >= ?"
            " ORDER BY at, id",
            site,
            spot,
            spot,
            0 if since is None else int(since.timestamp()),
        )
        return [
            HandReading(
                row["spot"],
                Quantity(row["quantity"]),
                row["value"] / 100,
                _moment(row["at"]),
                None if row["night"] is None else date.fromordinal(row["night"]),
                row["id"],
            )
            for row in rows
        ]

    def correct_by_hand(self, site: str, number: int, value: float) -> bool:
        """Give a reading another value. Return whether there was one of this number."""
        return self._change_by_hand(
            site,
            "UPDATE hand_reading SET value = ? WHERE site = ? AND id = ?",
            round(value * 100),
            site,
            number,
        )

    def delete_by_hand(self, site: str, number: int) -> bool:
        """Forget a reading. Return whether there was one of this number."""
        return self._change_by_hand(
            site, "DELETE FROM hand_reading WHERE site = ? AND id = ?", site, number
        )

    def _change_by_hand(self, site: str, statement: str, *values: object) -> bool:
        with self._database.transaction():
            changed = self._database.execute(statement, *values) > 0
            if changed:
                self._note_change(site)
        return changed

    # -- what is not used

    def set_aside(
        self,
        site: str,
        spot: str,
        quantity: Quantity,
        sensor: str,
        reason: str,
        times: Sequence[datetime],
        examples: Sequence[str],
        now: datetime,
    ) -> None:
        """Note that some readings of a sensor are not used, and why.

        times: when they were taken, or when they came; not empty, in order. examples: what each
        was. Those of an hour and reason are counted together, and not twice if they come again.
        """
        by_hour: dict[int, list[tuple[int, str]]] = {}
        for at, example in zip(times, examples, strict=True):
            second = int(at.timestamp())
            by_hour.setdefault(second // int(HOUR_S), []).append((second, example))
        with self._database.transaction():
            number = self._number_of(site, spot, quantity, sensor)
            for hour, readings in by_hour.items():
                key = (number, hour, reason)
                self._set_aside_of_hour(key, readings, int(now.timestamp()))

    def _set_aside_of_hour(
        self, key: tuple[int, int, str], readings: Sequence[tuple[int, str]], noted_at: int
    ) -> None:
        first_at, (last_at, example) = readings[0][0], readings[-1]
        count = len(readings)
        rows = self._database.rows(
            "SELECT * FROM set_aside WHERE sensor = ? AND hour = ? AND reason = ?", *key
        )
        for known in rows:
            outside = sum(not known["first_at"] <= at <= known["last_at"] for at, _ in readings)
            count = outside + max(known["count"], count - outside)
            first_at = min(first_at, known["first_at"])
            if known["last_at"] > last_at:
                last_at, example = known["last_at"], known["example"]
        self._database.replace_each(
            "set_aside", [(*key, count, first_at, last_at, example, noted_at)]
        )

    def set_aside_since(self, site: str, since: datetime) -> list[SetAside]:
        """Return what was set aside from a moment on, whenever it was taken; the newest reading
        first."""
        return self._set_aside(
            "noted_at >= ? ORDER BY last_at DESC, spot, quantity, name",
            *(site, int(since.timestamp())),
        )

    def set_aside_of(
        self,
        site: str,
        spot: str,
        quantity: Quantity,
        sensor: str,
        since: datetime,
        until: datetime,
    ) -> list[SetAside]:
        """Return what was set aside of a sensor in the hours that begin in a span, in order."""
        return self._set_aside(
            "spot = ? AND quantity = ? AND name = ? AND hour BETWEEN ? AND ? ORDER BY hour, reason",
            *(site, spot, quantity.value, sensor),
            *(-int(-since.timestamp() // HOUR_S), int(until.timestamp() // HOUR_S)),
        )

    def _set_aside(self, which: str, *values: object) -> list[SetAside]:
        rows = self._database.rows(
            "SELECT spot, quantity, name, set_aside.* FROM set_aside JOIN sensor ON sensor = id"
            f" WHERE site = ? AND {which}",
            *values,
        )
        return [
            SetAside(
                row["spot"],
                Quantity(row["quantity"]),
                row["name"],
                _moment(row["hour"] * HOUR_S),
                row["reason"],
                row["count"],
                _moment(row["first_at"]),
                _moment(row["last_at"]),
                row["example"],
            )
            for row in rows
        ]

    def take_back(self, site: str, aside: Iterable[SetAside]) -> None:
        """Forget that some readings were set aside: they are judged anew."""
        with self._database.transaction():
            for one in aside:
                self._database.execute(
                    "DELETE FROM set_aside WHERE sensor = ? AND hour = ? AND reason = ?",
                    self._number_of(site, one.spot, one.quantity, one.sensor),
                    int(one.hour.timestamp() // HOUR_S),
                    one.reason,
                )

    # -- all

    def edition(self, site: str) -> int:
        """Return a number that grows with every change of the past readings of a site.

        A sensor that goes on from hour to hour changes nothing of the past: what is learned from
        nights need not be worked out anew until one is over.
        """
        rows = self._database.rows("SELECT number FROM reading_edition WHERE site = ?", site)
        return int(rows[0]["number"]) if rows else 0

    def _note_change(self, site: str) -> None:
        self._database.execute(
            "INSERT INTO reading_edition VALUES (?, 1)"
            " ON CONFLICT (site) DO UPDATE SET number = reading_edition.number + 1",
            site,
        )

    def note_change_everywhere(self) -> None:
        """Note that the readings of any site may have changed."""
        self._database.execute("UPDATE reading_edition SET number = number + 1")

    def prune(self, now: datetime) -> None:
        """Forget what is too old."""
        oldest = int((now - timedelta(days=READINGS_DAYS)).timestamp())
        listed = int((now - timedelta(days=SET_ASIDE_DAYS)).timestamp())
        own, site = self._database.own_rows()
        sensors = " AND sensor IN (SELECT id FROM sensor WHERE site = ?)" if site else ""
        with self._database.transaction():
            self._database.execute(
                f"DELETE FROM reading_hour WHERE hour < ?{sensors}", oldest // HOUR_S, *site
            )
            self._database.execute(f"DELETE FROM hand_reading WHERE at < ?{own}", oldest, *site)
            self._database.execute(
                "DELETE FROM set_aside WHERE (hour < ? OR (noted_at < ? AND first_at > noted_at))"
                f"{sensors}",
                *(oldest // HOUR_S, listed, *site),
            )
            self._database.execute(
                "DELETE FROM sensor WHERE NOT EXISTS (SELECT 1 FROM reading_hour WHERE sensor = id)"
                f" AND NOT EXISTS (SELECT 1 FROM set_aside WHERE sensor = id){own}",
                *site,
            )


def _stored(hours: HourlyReadings) -> list[tuple[int, ...]]:
    """Return the rows of some hours: moments as seconds of the hour, values as hundredths."""
    columns = (
        hours.hour // HOUR_S,
        np.rint(hours.low * 100),
        hours.low_at - hours.hour,
        np.rint(hours.high * 100),
        np.rint(hours.mean * 100),
        hours.first_at - hours.hour,
        np.rint(hours.last * 100),
        hours.last_at - hours.hour,
        hours.count,
    )
    table = np.stack([column.astype(np.int64) for column in columns], axis=1)
    return [tuple(row) for row in table.tolist()]


def _read(table: np.ndarray) -> HourlyReadings:
    """Return hours from their rows, (hour, column)."""
    number, low, low_s, high, mean, first_s, last, last_s, count = table.T
    hour = number * int(HOUR_S)
    return HourlyReadings(
        hour=hour,
        low=low / 100,
        low_at=hour + low_s,
        high=high / 100,
        mean=mean / 100,
        first_at=hour + first_s,
        last=last / 100,
        last_at=hour + last_s,
        count=count,
    )


def _moment(seconds: float) -> datetime:
    return datetime.fromtimestamp(seconds, UTC)
