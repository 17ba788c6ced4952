"""After an update: what is new is told for a week, and a daemon that was not started again."""

import tomllib
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sillward.ledger import Ledger
from sillward.service import updates
from sillward.service.health import DAEMON_GONE_AFTER, TICK_MARK
from sillward.service.ledger_upkeep import LedgerUpkeep
from sillward.service.updates import latest_update, not_restarted, note_version
from tests.support.paths import ROOT

NOW = datetime(2026, 5, 14, 20, tzinfo=UTC)
DAY = timedelta(days=1)

NEWS = {"0.4.0": "fans", "0.3.0": "a page", "0.2.0": "charts", "0.1.0": "the first"}


@pytest.fixture
def ledger() -> Ledger:
    return Ledger(":memory:")


@pytest.fixture(autouse=True)
def _news(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(updates, "_news", lambda: NEWS)


def runs(monkeypatch: pytest.MonkeyPatch, version: str) -> None:
    monkeypatch.setattr(updates, "running_version", lambda: version)


def test_a_first_installation_tells_no_news(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    runs(monkeypatch, "0.3.0")

    LedgerUpkeep(ledger).mark_and_prune(NOW)
    LedgerUpkeep(ledger).mark_and_prune(NOW + DAY)

    assert latest_update(ledger, NOW + DAY) is None


@pytest.mark.parametrize(
    ("before", "version", "news"),
    [
        ("0.2.0", "0.3.0", "a page"),
        ("0.1.0", "0.3.0", "a page; and news of 1 more version"),
        ("0.1.0", "0.4.0", "fans; and news of 2 more versions"),
        ("0.0.9", "0.4.0", "fans"),
        ("0.3.0", "0.2.0", ""),
        ("0.3.0", "0.9.0", ""),
    ],
)
def test_what_is_new_is_told_for_a_week(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch, before: str, version: str, news: str
) -> None:
    runs(monkeypatch, before)
    LedgerUpkeep(ledger).mark_and_prune(NOW - DAY)
    runs(monkeypatch, version)
    LedgerUpkeep(ledger).mark_and_prune(NOW)
    LedgerUpkeep(ledger).mark_and_prune(NOW + DAY)  # a restart is no update

    found = latest_update(ledger, NOW + 6 * DAY)

    assert found == updates.Update(NOW, version, before, news)
    assert latest_update(ledger, NOW + 7 * DAY) is None


def test_a_ledger_from_before_versions_were_noted_was_updated_too(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:
    ledger.marks.set(TICK_MARK, NOW - DAY, "")
    runs(monkeypatch, "0.3.0")

    LedgerUpkeep(ledger).mark_and_prune(NOW)

    assert latest_update(ledger, NOW) == updates.Update(NOW, "0.3.0", None, "a page")


def test_a_daemon_that_was_not_started_again_after_an_update_is_a_trouble_while_it_works(
    ledger: Ledger, monkeypatch: pytest.MonkeyPatch
) -> None:

    def told_of(at: datetime) -> str:
        return f"{at:%d %b}"

    runs(monkeypatch, "0.2.0")
    note_version(ledger, NOW - DAY)
    ledger.marks.set(TICK_MARK, NOW, "")

    assert [*not_restarted(ledger, NOW, told_of)] == []
    runs(monkeypatch, "0.3.0")
    (told,) = not_restarted(ledger, NOW, told_of)
    assert told == (
        "`sillward run` is still version 0.2.0 from 13 May; 0.3.0 is installed: start it again"
    )
    (told,) = not_restarted(ledger, NOW, told_of, "sillward")
    assert told.endswith("0.3.0 is installed: `sudo systemctl restart sillward`")
    gone = NOW + DAEMON_GONE_AFTER + timedelta(minutes=1)
    assert [*not_restarted(ledger, gone, told_of)] == []


def test_every_version_has_a_line_of_news_and_the_newest_is_the_one_of_the_project() -> None:
    file = Path(updates.__file__).with_name("news.toml")
    news = tomllib.loads(file.read_text(encoding="utf-8"))
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    changelog = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8").splitlines()

    newest, *older = news
    assert newest == project["version"]
    assert [line for line in older if f"## {line}" not in "\n".join(changelog)] == []
    for line in news.values():
        assert 10 < len(line) <= 160
        assert line == " ".join(line.split()).rstrip(".")


def test_the_line_of_an_update_says_which_since_when_and_what_is_new() -> None:
    update = updates.Update(NOW, "0.3.0", "0.2.0", "a page")

    assert update.line("Thu 17:00") == "version 0.3.0 in place of 0.2.0 since Thu 17:00: a page"
    assert updates.Update(NOW, "0.3.0", None, "").line("Thu") == "version 0.3.0 since Thu"
