"""A start at which the collection is wrong goes on with the one that was last in force."""

import logging
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from sillward.assembly import app as app_module
from sillward.assembly import kept_collection
from sillward.assembly.app import App, Options
from sillward.config import kept_tables
from sillward.config.channel import Channel
from sillward.errors import ConfigError
from sillward.ledger import Ledger
from sillward.service.health import TICK_MARK

SECRET, OLD_SECRET = "hush-hush-4711", "once-a-secret-0815"

COLLECTION = f"""
# url = "json://localhost/{OLD_SECRET}"
[site]
name = "Test court"
latitude = -32.89
longitude = -68.85
elevation = 780
zone = "America/Argentina/Mendoza"

[[channels]]
name = "phone"
url = "json://localhost/{SECRET}"  # the phone in the kitchen

[spots.bench]
sky_view = 0.0

[spots.room]
indoors = true
night_low = 16

[[plants]]
name = "Left pot"
group = "cattleya"
holder = "pot"
home = "bench"
shelter = "room"

[[courses]]
name = "magnesium"
salt = "Epsom salt"
grams_per_litre = 0.3
water_ec = 0.4
times = 2
from = 2026-03-01
plants = {{ name = ["Left pot"] }}
"""

WRONG = COLLECTION.replace('home = "bench"', 'home = "bank"')


@dataclass
class Yard:
    """A collection file, and the ledger beside it."""

    folder: Path

    @property
    def path(self) -> Path:
        return self.folder / "yard.toml"

    @property
    def ledger(self) -> Ledger:
        return Ledger(self.folder / "ledger.sqlite3")

    def write(self, text: str) -> None:
        self.path.write_text(text, encoding="utf-8")

    def was_in_force(self, text: str = COLLECTION, *, ago: timedelta = timedelta(hours=5)) -> None:
        """Take a collection over as a daemon does that last ticked so long ago."""
        self.write(text)
        at = datetime.now(UTC) - ago
        with closing(self.ledger) as ledger:
            kept_collection.keep(ledger, "Test court", self.path, at)
            ledger.marks.set(TICK_MARK, at, "")

    def start(self, *wrong: str) -> App:
        """Build what the daemon serves. wrong: the channels whose URLs cannot be used."""

        def problems(channels: Sequence[Channel]) -> list[str | None]:
            return [
                "cannot be used" if channel.url is None or channel.name in wrong else None
                for channel in channels
            ]

        return kept_collection.build(app_module.build, Options(self.path), problems)

    def refusal(self, *wrong: str) -> str:
        with pytest.raises(ConfigError) as refused:
            self.start(*wrong)
        return str(refused.value)


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Yard:
    monkeypatch.setenv("SILLWARD_LEDGER", str(tmp_path / "ledger.sqlite3"))
    return Yard(tmp_path)


def urls(app: App) -> dict[str, str | None]:
    return {
        channel.name: None if channel.url is None else channel.url.get_secret_value()
        for channel in app.household.channels
    }


def plants(app: App) -> list[str]:
    return [plant.name for plant in app.household.collection.plants]


@pytest.mark.parametrize("text", [WRONG, COLLECTION + "[site", "\ufeff" + WRONG, WRONG + "\nx = 1"])
def test_a_wrong_file_has_the_one_from_before_in_its_place(
    yard: Yard, caplog: pytest.LogCaptureFixture, text: str
) -> None:
    yard.was_in_force()
    before = yard.start()
    yard.write(text)

    app = yard.start()

    assert app.household == before.household  # the URL is read from the wrong file
    assert app.path == yard.path
    assert any(line.startswith("collection.from_before file=yard.toml") for line in caplog.messages)
    assert yard.path.read_text(encoding="utf-8") == text
    with pytest.raises(ConfigError):  # a command goes by the file
        app_module.build(Options(yard.path))


def test_a_right_file_is_what_counts(yard: Yard) -> None:
    yard.was_in_force()
    yard.write(COLLECTION.replace("Left pot", "Right pot"))

    assert plants(yard.start()) == ["Right pot"]


def test_a_file_that_is_gone_is_a_wrong_one(yard: Yard, monkeypatch: pytest.MonkeyPatch) -> None:
    yard.was_in_force()
    yard.path.unlink()
    assert "nobody would be told" in yard.refusal()  # the URL went with it

    monkeypatch.setenv("SILLWARD_CHANNELS__PHONE", "json://localhost/elsewhere")

    assert urls(yard.start()) == {"phone": "json://localhost/elsewhere"}


def test_what_is_kept_holds_no_secret_and_is_written_once(yard: Yard) -> None:
    yard.was_in_force()
    with closing(yard.ledger) as ledger:
        first = ledger.kept_collections.of_site("Test court")
        assert first is not None
    yard.was_in_force(ago=timedelta(0))
    with closing(yard.ledger) as ledger:
        assert ledger.kept_collections.of_site("Test court") == first

    told = str(kept_tables.unpacked(first.tables))
    assert "Left pot" in told
    assert "2026" in told
    for secret in (SECRET, OLD_SECRET, "kitchen"):
        assert secret not in told
        assert not any(secret.encode() in file.read_bytes() for file in yard.folder.glob("led*"))


def test_the_same_collection_at_another_path_is_in_use_since_then(yard: Yard) -> None:
    yard.was_in_force()
    moved = yard.path.rename(yard.folder / "court.toml")
    with closing(yard.ledger) as ledger:
        since = ledger.kept_collections.since("Test court")
        kept_collection.keep(ledger, "Test court", moved, datetime.now(UTC))

        kept = ledger.kept_collections.of_file(str(moved))
        assert kept is not None
        assert kept.since == since
        assert ledger.kept_collections.of_file(str(yard.path)) is None


def test_a_site_that_was_renamed_is_kept_once(yard: Yard) -> None:
    yard.was_in_force()
    yard.write(COLLECTION.replace("Test court", "Old court"))
    with closing(yard.ledger) as ledger:
        kept_collection.keep(ledger, "Old court", yard.path, datetime.now(UTC))

        assert ledger.kept_collections.of_site("Test court") is None
        assert ledger.kept_collections.since("Old court") is not None


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (WRONG.replace("-32.89", "-33.05"), "it is for another place (-32.89, -68.85)"),
        (
            WRONG.replace("-32.89", "-33.05").replace("indoors = true", "indoors = "),
            "another place",
        ),
        (WRONG.replace("json:", "none:").replace('"phone"', '"other"'), "nobody would be told"),
    ],
)
def test_another_garden_or_another_person_is_not_what_was_kept(
    yard: Yard, text: str, says: str
) -> None:
    yard.was_in_force()
    yard.write(text)

    refusal = yard.refusal()

    assert says in refusal
    assert SECRET not in refusal
    assert "yard.toml:" in refusal.splitlines()[0]  # what is wrong with the file comes first


def test_after_a_month_without_a_tick_it_is_too_old(yard: Yard) -> None:
    yard.was_in_force(ago=kept_collection.MAX_AWAY - timedelta(hours=1))
    yard.write(WRONG)
    assert plants(yard.start()) == ["Left pot"]

    yard.was_in_force(ago=kept_collection.MAX_AWAY + timedelta(hours=1))
    with closing(yard.ledger) as ledger:  # as if it had been taken over then
        kept = ledger.kept_collections.of_site("Test court")
        assert kept is not None
        long_ago = datetime.now(UTC) - timedelta(days=31)
        ledger.kept_collections.keep(replace(kept, since=long_ago))
    yard.write(WRONG)

    assert "sillward has not run since" in yard.refusal()


@pytest.mark.parametrize("damage", [b"", b"x", None, kept_tables.packed(b"plants = 3")])
def test_one_that_is_damaged_is_as_none(yard: Yard, damage: bytes | None) -> None:
    yard.was_in_force()
    with closing(yard.ledger) as ledger:
        kept = ledger.kept_collections.of_site("Test court")
        assert kept is not None
        tables = kept.tables[:-9] if damage is None else damage
        ledger.kept_collections.keep(replace(kept, tables=tables))
    yard.write(WRONG)

    assert "the last good collection is not used" in yard.refusal()


def test_without_one_the_error_is_that_of_the_file(yard: Yard) -> None:
    yard.write(WRONG)
    with pytest.raises(ConfigError) as refused:
        app_module.build(Options(yard.path))

    assert yard.refusal() == str(refused.value)
    yard.ledger.close()
    assert yard.refusal() == str(refused.value)


def test_a_ledger_that_cannot_be_used_hides_no_error_of_the_file(
    yard: Yard, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("SILLWARD_LEDGER", str(yard.folder))
    yard.write(WRONG)

    refusal = yard.refusal()

    assert '"bank"' in refusal.splitlines()[0]
    assert "the last good collection is not used: " in refusal


def test_a_channel_that_cannot_be_used_is_left_out(
    yard: Yard, caplog: pytest.LogCaptureFixture
) -> None:
    caplog.set_level(logging.ERROR)
    mail = '\n[[channels]]\nname = "mail"\nurl = "json://localhost/mail"\n'
    yard.was_in_force(COLLECTION + mail)

    assert urls(yard.start("phone")) == {"mail": "json://localhost/mail"}
    assert any("collection.channel_left_out name=phone" in line for line in caplog.messages)


def test_wording_that_is_wrong_is_left_for_the_usual_one(yard: Yard) -> None:
    words = yard.folder / "words"
    words.mkdir()
    (words / "mine.jinja").write_text("{% macro nothing_today() %}Nada{% endmacro %}")
    yard.was_in_force(COLLECTION + '\n[notices]\nwording = "words"\nmost = 7\n')
    (words / "mine.jinja").write_text("{% macro")

    household = yard.start().household

    assert household.wording.folder is None
    assert household.policy.max_messages == 7


def test_a_pretended_run_goes_by_the_file_alone(yard: Yard) -> None:
    yard.was_in_force()
    yard.write(WRONG)
    options = Options(yard.path, recorded=yard.folder / "body.json")

    with pytest.raises(ConfigError, match="bank"):
        kept_collection.build(app_module.build, options, lambda each: [None for _ in each])
