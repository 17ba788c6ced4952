"""Updates of sillward itself: which version runs, since when, and what is new in it."""

import tomllib
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from importlib import resources

import sillward
from sillward.ledger import Ledger
from sillward.service.health import TICK_MARK, is_at_work

VERSION_MARK = "version"
"""The mark for the version of the daemon that last ran, since its first tick."""

UPDATED_MARK = "updated"
"""The mark for the version that ran before; nothing if it was one that left no mark."""

NEWS_TOLD_FOR = timedelta(days=7)
"""How long it is said what is new. Judgement: a grower who looks once a week sees it once."""


@dataclass(frozen=True, slots=True)
class Update:
    """An update of late."""

    at: datetime
    version: str
    before: str | None
    """None if it is not known."""
    news: str
    """What is new, in one line; empty if nothing is told of it."""

    def line(self, at: str) -> str:
        """Return it in words. at: its time, as the reader writes times."""
        before = f" in place of {self.before}" if self.before else ""
        news = f": {self.news}" if self.news else ""
        return f"version {self.version}{before} since {at}{news}"


@cache
def running_version() -> str:
    """Return the version that this process runs, even if another has been installed since."""
    return sillward.__version__


def note_version(ledger: Ledger, now: datetime) -> None:
    """Write down which version runs, if another one ran before. Raise LedgerError."""
    version, noted = running_version(), ledger.marks.get(VERSION_MARK)
    if noted is not None and noted.text == version:
        return
    if noted is not None or ledger.marks.get(TICK_MARK) is not None:
        ledger.marks.set(UPDATED_MARK, now, "" if noted is None else noted.text)
    ledger.marks.set(VERSION_MARK, now, version)


def latest_update(ledger: Ledger, now: datetime) -> Update | None:
    """Return the update of the last week; None if there was none."""
    noted, updated = ledger.marks.get(VERSION_MARK), ledger.marks.get(UPDATED_MARK)
    if noted is None or updated is None or not timedelta(0) <= now - updated.at < NEWS_TOLD_FOR:
        return None
    before = updated.text or None
    return Update(updated.at, noted.text, before, _line(noted.text, before, _news()))


def _news() -> Mapping[str, str]:
    """Return what is new in each version, the newest first."""
    text = resources.files("sillward.service").joinpath("news.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def _line(version: str, before: str | None, news: Mapping[str, str]) -> str:
    """Return what is new in a version, and in how many more there is since the one before."""
    versions = list(news)
    if version not in versions:
        return ""
    newest = versions.index(version)
    more = versions.index(before) - newest - 1 if before in versions else 0
    if more < 0:  # an older version was put back
        return ""
    further = f"; and news of {more} more version{'' if more == 1 else 's'}" if more else ""
    return news[version] + further


def not_restarted(
    ledger: Ledger, now: datetime, told: Callable[[datetime], str], service: str | None = None
) -> Iterator[str]:
    """Yield that the daemon still runs another version than the one that is installed, if so.

    told: writes a time as the reader does.
    service: the service of systemd that runs it, if that is known.
    """
    start = "start it again" if service is None else f"`sudo systemctl restart {service}`"
    noted = ledger.marks.get(VERSION_MARK)
    if noted is not None and noted.text != running_version() and is_at_work(ledger, now):
        yield (
            f"`sillward run` is still version {noted.text} from {told(noted.at)}; "
            f"{running_version()} is installed: {start}"
        )
