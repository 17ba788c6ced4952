"""Stand-ins for the world: a clock that stands still, a source of invented weather, its wire."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any, TypeAlias

import numpy as np

from sillward.errors import SourceError
from sillward.forecast.cells import BAND_M
from sillward.forecast.quota import Quota
from sillward.net import fetch
from sillward.net.http import Answer, Query
from sillward_rules.remark import Plain
from sillward_rules.weather.hourly import Weather
from sillward_rules.weather.site import Site


def remarked(weather: Weather) -> tuple[str, ...]:
    """What sources and the store remark, which is text."""
    assert all(isinstance(remark, Plain) for remark in weather.remarks), weather.remarks
    return tuple(remark.text for remark in weather.remarks if isinstance(remark, Plain))


@dataclass
class FakeClock:
    """Stands still until it is moved."""

    now: datetime

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)


Outcome: TypeAlias = Answer | Exception | Callable[[int], Answer]
"""An answer, a failure, or an answer by how often anything has been asked."""

Answers: TypeAlias = Outcome | list[Outcome]
"""The same every time, or one after the other, the last again and again."""


@dataclass
class Wire:
    """What is asked, and what comes back: bodies by the name of the source, or failures."""

    clock: FakeClock
    answers: dict[str, Answers] = field(default_factory=dict)
    asked: list[tuple[str, datetime]] = field(default_factory=list)
    conditions: list[Mapping[str, str]] = field(default_factory=list)
    queries: list[Query] = field(default_factory=list)

    def __call__(
        self, query: Query, *, source: str, conditions: Mapping[str, str], deadline_s: float
    ) -> Answer:
        assert 0 < deadline_s <= fetch.REQUEST_DEADLINE_S
        self.asked.append((source, self.clock()))
        self.conditions.append(conditions)
        self.queries.append(query)
        answer = self.answers[source]
        if isinstance(answer, list):
            answer = answer.pop(0) if len(answer) > 1 else answer[0]
        if callable(answer):
            answer = answer(len(self.asked))
        if isinstance(answer, Exception):
            raise answer
        return answer

    def times(self, source: str) -> list[datetime]:
        """When a source was asked."""
        return [at for name, at in self.asked if name == source]


def ever_new(low_c: float) -> Callable[[int], Answer]:
    """A forecast that changes a little with every call, as forecasts do."""
    return lambda number: low_of(low_c + 0.001 * number)


def low_of(body: float | str, status: int = 200, **headers: str) -> Answer:
    """An answer whose weather has this lowest temperature."""
    names = {name.replace("_", "-"): value for name, value in headers.items()}
    return Answer(status, names, f"{body}".encode())


@dataclass
class FakeSource:
    """Weather from a body that is its lowest temperature, perhaps with what is wrong with it.

    A body is "3.0", or "3.0 gap" (ten unknown hours from 06:00 UTC on, every day), or "3.0 ago 5"
    (worked out five hours before it was fetched), or "3.0 late" (a day ago), or "3.0 flat" (the
    same at all hours). Several bodies for several sites are joined by bars.
    """

    name: str = "Invented weather"
    attribution: str = "Invented weather by nobody"
    interval: timedelta = timedelta(minutes=75)
    max_sites: int = 1
    cell_deg: float = 0.05
    band_m: float = BAND_M
    quota: Quota | None = None
    history_days: int = 1

    def query(self, sites: Sequence[Site]) -> Query:
        return Query("https://weather.invalid", {"sites": ",".join(site.name for site in sites)})

    def accept(self, answer: Answer, now: datetime) -> None:
        fetch.accepted(answer, self.name, now)

    def split(self, body: bytes, sites: Sequence[Site]) -> list[bytes]:
        return body.split(b"|")

    def read(self, body: bytes, site: Site, fetched_at: datetime) -> Weather:
        """Nine days: 12 K from the low at seven in the morning to the high at nineteen."""
        words = body.decode(errors="replace").split()
        try:
            low = float(words[0])
        except (ValueError, IndexError):
            msg = f"{self.name}: the answer is not whole JSON"
            raise SourceError(msg, passing=True) from None
        first = int(fetched_at.timestamp()) // 86400 * 86400 - 86400 * self.history_days
        times = first + 3600 * np.arange((8 + self.history_days) * 24, dtype=np.int64)
        hours = (times + site.longitude / 15 * 3600) / 3600 % 24
        temp = low + 6 - 6 * np.cos((hours - 7) / 24 * 2 * np.pi)
        if "flat" in words:
            temp = np.full(times.shape, low)
        if "gap" in words:
            temp[(times % 86400 >= 6 * 3600) & (times % 86400 < 16 * 3600)] = np.nan
        ago_h = float(words[-1]) if "ago" in words else 23.0 if "late" in words else None
        dark = np.zeros(times.shape)
        series: dict[str, Any] = {
            "dew_point_c": np.full(times.shape, low - 2),
            "wind_m_s": dark + 1.0,
            "gust_m_s": dark + 2.0,
        }
        return Weather(
            times=times,
            temp_c=temp,
            cloud=dark,
            rain_mm=dark,
            direct_w_m2=dark,
            diffuse_w_m2=dark,
            hail_pct=dark,
            source=self.name,
            fetched_at=fetched_at,
            issued_at=None if ago_h is None else fetched_at - timedelta(hours=ago_h),
            **series,
        )
