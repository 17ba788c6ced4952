"""The records of the ledger as the rest of the shell sees them, and their columns in the file.

Times are ISO text in UTC, so that they sort; booleans are 0 and 1. The archive of nights, which is
long, has integers instead: unix seconds, days (date ordinals) and hundredths of °C, m/s and shares
(two bytes each; more digits than forecasts have).
"""

import json
import zlib
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any

from sillward.ledger import care_codec
from sillward.ledger.chore_codec import decode
from sillward.ledger.database import Row
from sillward.ledger.subjects import Subject
from sillward_rules.arrays import HOUR_S
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.plants.care import NO_CARE, Care
from sillward_rules.plants.state import ColdHistory, Declined, Ground, OpenOrder, PlantState
from sillward_rules.weather.night_summary import NightForecast


@dataclass(frozen=True, slots=True)
class SavedForecast:
    """The last good body of a source for a site.

    Args:
        fetched_at: when the source last gave it, or last said that it is still the newest.
        changed_at: when its content was last different from that before.
        last_modified: the validator to send back as If-Modified-Since.
        etag: the validator to send back as If-None-Match.
    """

    source: str
    fetched_at: datetime
    changed_at: datetime
    body: bytes
    last_modified: str | None = None
    etag: str | None = None


@dataclass(frozen=True, slots=True)
class CallSchedule:
    """When a source is called next, and how the calls went so far.

    Args:
        failures: how many calls have failed since the last good one.
        day: the day (UTC) that `calls` counts.
        reason: why the last call failed, or None if it did not.
        not_before: until when the provider asked not to be called.
    """

    next_at: datetime
    failures: int = 0
    day: date | None = None
    calls: int = 0
    reason: str | None = None
    not_before: datetime | None = None


class Stage(StrEnum):
    """Whether a notice is the round itself, or a later message about the same round."""

    TOLD = "told"
    """The round as it was worked out."""
    CHANGE = "change"
    """A newer forecast asks for more, or for another hour."""
    CALL_OFF = "call-off"
    """A newer forecast asks for less."""
    ALARM = "alarm"
    """A thermometer at a spot asks for more, at once."""
    REMINDER = "reminder"
    """An order that is not confirmed is repeated because its deadline is near."""
    PASSED_ON = "passed on"
    """Such an order is told to another channel."""


class NoticeState(StrEnum):
    """What has become of a notice."""

    WAITING = "waiting"
    """It is to be sent, for the first time or again."""
    SENDING = "sending"
    """A process has claimed it and is sending it."""
    SENT = "sent"
    """Its channel took it, or may have taken it.

    After several attempts without an answer a notice counts as sent, because one of them may have
    arrived. `Notice.last_error` says so then; it is None where the channel took the notice.
    """
    EXPIRED = "expired"
    """It could not be sent while it was of use."""
    NOT_NEEDED = "not needed"
    """It need not be sent, now or from the beginning."""


@dataclass(frozen=True, slots=True)
class Notice:
    """One message of a round, or of an alarm, to one channel.

    Args:
        key: what it is for (site, day, round with stage and chore, channel), whatever its words.
        round: the name of its `subject`.
    """

    key: str
    site: str
    round: str
    day: str
    channel: str
    title: str
    body: str
    state: NoticeState
    attempts: int
    next_at: datetime
    expires_at: datetime
    sent_at: datetime | None = None
    last_error: str | None = None
    perhaps_sent: int = 0
    """Attempts that were cut off, of which one may have arrived."""
    stage: Stage = Stage.TOLD
    change_number: int = 0
    """The number of the change of the round that it tells of; 0 for the round itself."""

    @property
    def failures(self) -> int:
        """How often it could not be sent, as long as it waits or is being sent."""
        return self.attempts - (self.state is NoticeState.SENDING)

    @property
    def is_on_its_way(self) -> bool:
        """Whether it waits or is being sent."""
        return self.state in (NoticeState.WAITING, NoticeState.SENDING)

    @property
    def is_doubtful(self) -> bool:
        """Whether it counts as sent, but was never answered for; see `NoticeState.SENT`."""
        return self.state is NoticeState.SENT and self.last_error is not None

    @property
    def subject(self) -> Subject:
        """The round or alarm that it tells of."""
        return Subject.parse(self.round)

    @property
    def round_name(self) -> str:
        """The name of its subject as it is shown, with the number of the change."""
        return f"{self.round} change {self.change_number}" if self.change_number else self.round


@dataclass(frozen=True, slots=True)
class StoredChore:
    """A chore of a round that was enqueued, and what has become of it.

    Args:
        done_at: when it was confirmed.
        done_by: who confirmed or declined it, where that is known.
        declined_at: when the grower said that it is not needed.
        later_until: until when the grower has put it off: then a reminder comes.
        round: the name of the round that it belongs to.
        passed_on_at: when it was told to another channel.
        changed_at: when its hour was moved, or plants joined it.
    """

    chore: Chore
    done_at: datetime | None = None
    round: str = ""
    reminded_at: datetime | None = None
    passed_on_at: datetime | None = None
    called_off_at: datetime | None = None
    changed_at: datetime | None = None
    done_by: str | None = None
    declined_at: datetime | None = None
    later_until: datetime | None = None

    @property
    def id(self) -> str:
        """The id of the chore."""
        return self.chore.id

    @property
    def kind(self) -> ChoreKind:
        """The kind of the chore."""
        return self.chore.kind

    @property
    def before(self) -> datetime:
        """Its deadline."""
        return self.chore.before

    @property
    def open(self) -> bool:
        """Whether it is still to do."""
        return self.done_at is self.called_off_at is self.declined_at is None

    @property
    def is_of_next_day(self) -> bool:
        """Whether the dusk round told it for the following day. It holds until the morning round
        of that day, which tells the chores of its day again as its own."""
        day_out = self.kind is ChoreKind.CARRY_OUT
        day_in = self.kind is ChoreKind.STAY_IN and self.chore.not_before is not None
        return self.round.startswith("dusk") and (day_out or day_in)

    def is_put_off(self, now: datetime) -> bool:
        """Whether the grower wants to hear nothing of it yet."""
        return self.later_until is not None and now < self.later_until

    @property
    def day(self) -> str:
        """The local date of its round as ISO text."""
        return self.chore.day

    @property
    def id_without_day(self) -> str:
        """The part of its id that is the same on every day."""
        return self.chore.id_without_day

    @property
    def plants(self) -> tuple[str, ...]:
        """The plants that it is for."""
        return tuple(self.chore.plants)


@dataclass(frozen=True, slots=True)
class Mark:
    """A moment that is remembered by name, and a text about it.

    The moment is when something last happened (a tick, a pruning, a failed call to a source), or
    when a state began that lasts (a wrong clock, a collection that is refused).
    """

    name: str
    at: datetime
    text: str


@dataclass(frozen=True, slots=True)
class Activity:
    """What happened on some days: dusk rounds, those that had a forecast, notices that were sent,
    and notices that could not be sent in time."""

    rounds: int
    with_forecast: int
    sent: int
    lost: int


@dataclass(frozen=True, slots=True)
class CalendarEventVersion:
    """How often an event of the calendar file has changed since it came into it, and when last."""

    sequence: int
    changed_at: datetime


def to_text(at: datetime) -> str:
    """Return a time as it is stored."""
    return at.astimezone(UTC).isoformat(timespec="seconds")


def to_moment(text: str) -> datetime:
    """Return a stored time."""
    return datetime.fromisoformat(text)


def maybe_moment(text: str | None) -> datetime | None:
    """Return a stored time, or None for None."""
    return None if text is None else to_moment(text)


def column_value(value: object) -> object:
    """Return a value as a column takes it."""
    if value is None or isinstance(value, str):  # most of what is written
        return value
    if isinstance(value, OpenOrder | ColdHistory):
        return json.dumps(
            {field.name: column_value(getattr(value, field.name)) for field in fields(value)}
        )
    if isinstance(value, Care):
        return None if value == NO_CARE else care_codec.encode(value)
    if isinstance(value, tuple):
        return _declined_to_text(value) if value else None
    if isinstance(value, datetime):
        return to_text(value)
    if isinstance(value, date):
        return str(value)
    return int(value) if isinstance(value, bool) else value


def state_to_plain(state: PlantState | None) -> dict[str, Any] | None:
    """Return a plant's state as plain types, or None for None."""
    if state is None:
        return None
    return {field.name: column_value(getattr(state, field.name)) for field in fields(PlantState)}


def states_to_json(states: Mapping[str, PlantState]) -> str:
    """Return the states of some plants as text."""
    plain = {id(state): state_to_plain(state) for state in states.values()}  # many share one
    return json.dumps({plant: plain[id(state)] for plant, state in states.items()})


def states_from_json(text: str) -> dict[str, PlantState]:
    """Return the states of some plants from their text; plants of equal ones share one."""
    found: dict[tuple[object, ...], PlantState] = {}
    states = {}
    for plant, values in json.loads(text).items():
        key = tuple(values.items())
        if key not in found:
            found[key] = state_of(values)
        states[plant] = found[key]
    return states


def state_of(row: Mapping[str, Any] | Row) -> PlantState:
    """Return a plant's state from a row or from plain types."""
    return PlantState(
        spot=row["spot"],
        since=maybe_moment(row["since"]),
        assumed=bool(row["assumed"]),
        misted_at=maybe_moment(row["misted_at"]),
        fed_at=maybe_moment(row["fed_at"]),
        rinsed_at=maybe_moment(row["rinsed_at"]),
        came_from=row["came_from"],
        brighter_since=maybe_moment(_column(row, "brighter_since")),
        asked=_asked_of(_column(row, "asked")),
        cold=_cold_of(_column(row, "cold")),
        declined=declined_of(_column(row, "declined")),
        care=care_codec.decode(_column(row, "care")),
    )


def _cold_of(text: str | None) -> ColdHistory | None:
    if text is None:
        return None
    values = json.loads(text)
    night = date.fromisoformat(values["night"])
    return ColdHistory(night, float(values["carried"]), float(values["usual_low_c"]))


def _declined_to_text(declined: tuple[Declined, ...]) -> str:
    return json.dumps(
        [
            {
                "kind": one.kind.value,
                "day": str(one.day),
                "from_spot": one.from_spot,
                "to_spot": one.to_spot,
                "before": to_text(one.before),
                "at": to_text(one.at),
                "grounds": [asdict(ground) for ground in one.grounds],
            }
            for one in declined
        ]
    )


def declined_of(text: str | None) -> tuple[Declined, ...]:
    """Return what was declined from its text; nothing from None."""
    return tuple(
        Declined(
            kind=ChoreKind(one["kind"]),
            day=date.fromisoformat(one["day"]),
            from_spot=one["from_spot"],
            to_spot=one["to_spot"],
            before=to_moment(one["before"]),
            at=to_moment(one["at"]),
            grounds=tuple(Ground(**ground) for ground in one["grounds"]),
        )
        for one in ([] if text is None else json.loads(text))
    )


def _asked_of(text: str | None) -> OpenOrder | None:
    if text is None:
        return None
    values = json.loads(text)
    return OpenOrder(
        values["from_spot"],
        values["to_spot"],
        to_moment(values["before"]),
        values.get("out_of"),
        maybe_moment(values.get("out_at")),
        bool(values.get("for_heat")),
    )


def _column(row: Mapping[str, Any] | Row, name: str) -> Any:
    """Return a value, or None where a state of an older version lacks it."""
    return row[name] if name in row.keys() else None  # noqa: SIM118 (a Row is no mapping)


def notice_of(row: Row) -> Notice:
    """Return a notice from its row."""
    values = {field.name: row[field.name] for field in fields(Notice)}
    for name in ("next_at", "expires_at", "sent_at"):
        values[name] = maybe_moment(values[name])
    values["state"], values["stage"] = NoticeState(row["state"]), Stage(row["stage"])
    return Notice(**values)


def chore_of(row: Row) -> StoredChore:
    """Return a chore from its row."""
    return StoredChore(
        chore=decode(row["chore_json"]),
        done_at=maybe_moment(row["done_at"]),
        round=row["round"],
        reminded_at=maybe_moment(row["reminded_at"]),
        passed_on_at=maybe_moment(row["passed_on_at"]),
        called_off_at=maybe_moment(row["called_off_at"]),
        changed_at=maybe_moment(row["changed_at"]),
        done_by=row["done_by"],
        declined_at=maybe_moment(row["declined_at"]),
        later_until=maybe_moment(row["later_until"]),
    )


def columns_of(record: SavedForecast | CallSchedule) -> dict[str, object]:
    """Return the columns of a record, by name."""
    return {field.name: column_value(getattr(record, field.name)) for field in fields(record)}


def forecast_of(row: Row) -> SavedForecast | None:
    """Return a forecast from its row; None if its body cannot be decompressed."""
    values = {field.name: row[field.name] for field in fields(SavedForecast)}
    for name in ("fetched_at", "changed_at"):
        values[name] = to_moment(values[name])
    try:
        values["body"] = zlib.decompress(values["body"])
    except zlib.error:
        return None
    return SavedForecast(**values)


def call_schedule_of(row: Row) -> CallSchedule:
    """Return a schedule of calls from its row."""
    values = {field.name: row[field.name] for field in fields(CallSchedule)}
    values["next_at"] = to_moment(values["next_at"])
    values["not_before"] = maybe_moment(values["not_before"])
    values["day"] = None if values["day"] is None else date.fromisoformat(values["day"])
    return CallSchedule(**values)


NIGHT_COLUMNS = (
    "night", "fetched_at", "low_at", "low", "dew_point", "wind", "cloud", "high", "sd",
    "warming",
)  # fmt: skip
"""The columns of a forecast of a night, apart from the one that says of which source and site."""


def night_values(night: NightForecast, fetched_at: datetime) -> tuple[int | None, ...]:
    """Return the values of `NIGHT_COLUMNS`."""
    values = (
        night.low_c, night.dew_point_c, night.wind_m_s, night.cloud, night.high_c, night.sd_k,
        night.warming,
    )  # fmt: skip
    times = (int(fetched_at.timestamp()), int(night.low_at.timestamp()))
    hundredths = (None if value is None else round(value * 100) for value in values)
    return (night.night.toordinal(), *times, *hundredths)


def night_of(
    night: int, fetched_s: int, low_s: int, low: int, *rest: int | None
) -> tuple[datetime, NightForecast]:
    """Return when a forecast of a night was fetched, and the forecast, from `NIGHT_COLUMNS`."""
    dew_point, wind, cloud, high, sd, warming = (
        None if hundredths is None else hundredths / 100 for hundredths in rest
    )
    return datetime.fromtimestamp(fetched_s, UTC), NightForecast(
        night=date.fromordinal(night),
        lead_h=(low_s - fetched_s) / HOUR_S,
        low_c=low / 100,
        low_at=datetime.fromtimestamp(low_s, UTC),
        dew_point_c=dew_point,
        wind_m_s=wind,
        cloud=cloud,
        high_c=high,
        sd_k=sd,
        warming=warming,
    )
