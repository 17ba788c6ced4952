"""The trial of a channel: through the real sender, to real servers on loopback."""

import json
import sqlite3
from collections.abc import Iterator
from contextlib import ExitStack, closing
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner, Result
from pydantic import SecretStr

from sillward.assembly import app
from sillward.channels import apprise_sender, channel_trial
from sillward.channels.channel_trial import Outcome, State
from sillward.channels.sender_process import SenderProcess
from sillward.cli import main, shared, try_channel
from sillward.config.channel import Channel
from sillward.config.settings import load_settings
from sillward.errors import DeliveryError
from sillward.ledger import Ledger, SavedForecast
from sillward.links.key_file import page_key
from sillward.links.token import Purpose, read
from sillward.text.columns import Screen
from sillward.text.units import SI, Units
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.push import Message
from sillward.wording.voice import Voice
from sillward_rules.weather.site import Site
from tests.support.loopback_server import Server, hanging, serving, whole
from tests.support.paths import EXAMPLES

COLD_SNAP = EXAMPLES / "recorded" / "cold-snap.json"
NOW = datetime(2026, 5, 14, 20, 5, tzinfo=UTC)
SITE = Site("Yard", -32.89, -68.85, 780, ZoneInfo("America/Argentina/Mendoza"))
SECRETS = ("us3r-Ann", "p4ss-Word", "t0ken-Path", "qu3ry-Key")
USER, PASSWORD, PATH, QUERY = SECRETS
IMPATIENT = "&cto=0.5&rto=0.1"
"""How long Apprise waits for a connection, and for an answer."""


def a_channel(name: str = "phone", *, full: bool = False) -> Channel:
    return Channel(name, SecretStr("x"), ("dusk", "alarm"), all_clear=False, full_length=full)


class SameProcess:
    """The sender without its process, which takes a second to start."""

    __call__ = staticmethod(apprise_sender.send)
    problems = staticmethod(apprise_sender.problems)

    def close(self) -> None:
        """Close nothing."""


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(try_channel, "SenderProcess", SameProcess)


@pytest.fixture(autouse=True)
def _clock(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(shared, "build", lambda options: app.build(options, clock=lambda: NOW))


@dataclass
class Yard:
    """The courtyard with channels of its own, whose URLs, full of secrets, are in the
    environment."""

    folder: Path
    patch: pytest.MonkeyPatch
    stack: ExitStack
    entries: str = ""
    servers: dict[str, Server] = field(default_factory=dict)

    def channel(self, name: str, talk: Any, extra: str = "") -> None:
        """A channel whose server answers like this."""
        server = self.servers[name] = self.stack.enter_context(serving(talk, ends=b"}"))
        host = server.address.removeprefix("http://")
        url = f"json://{USER}:{PASSWORD}@{host}/{PATH}?-key={QUERY}{IMPATIENT}"
        self.entry(name, url, extra)

    def entry(self, name: str, url: str | None, extra: str = "") -> None:
        self.entries += f'\n[[channels]]\nname = "{name}"\n{extra}\n'
        if url is not None:
            self.patch.setenv(f"SILLWARD_CHANNELS__{name.upper()}", url)

    def sent(self, name: str) -> dict[str, str]:
        """The only message that this channel got."""
        (asked,) = self.servers[name].asked
        message: dict[str, str] = json.loads(asked.split(b"\r\n\r\n", 1)[1])
        return message

    def call(self, *words: str) -> Result:
        path = self.folder / "yard.toml"
        text = (EXAMPLES / "courtyard.toml").read_text(encoding="utf-8")
        path.write_text(text + self.entries, encoding="utf-8")
        result = CliRunner().invoke(main, ["try-channel", *words, "--collection", str(path)])
        assert result.exception is None or isinstance(result.exception, SystemExit)
        assert not [secret for secret in SECRETS if secret in result.output]
        assert "json://" not in result.output
        return result


@pytest.fixture
def yard(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Yard]:
    with ExitStack() as stack:
        yield Yard(tmp_path, monkeypatch, stack)


def keep_a_forecast() -> None:
    with closing(Ledger(load_settings().ledger_file)) as ledger:
        ago = NOW - timedelta(minutes=40)
        ledger.forecasts.keep(
            "Courtyard", SavedForecast("Open-Meteo", ago, ago, COLD_SNAP.read_bytes())
        )


# -- what comes back

OK = whole(b"{}")
NO = whole(b"", status="500 No")


def test_a_channel_that_takes_it_ends_with_0(yard: Yard) -> None:
    yard.channel("phone", OK)

    result = yard.call("phone")

    assert result.exit_code == 0, result.output
    first, hint = result.stdout.splitlines()
    assert first.split()[:2] == ["phone", "sent"]
    assert first.endswith(" s")
    assert "check that it has arrived" in hint
    assert result.stderr == ""


def test_with_a_page_the_trial_can_be_answered(yard: Yard) -> None:
    yard.channel("phone", OK)
    yard.patch.setenv("SILLWARD_PAGE__ADDRESS", "127.0.0.1:8123")
    yard.patch.setenv("SILLWARD_PAGE__URL", "https://plants.example/")

    result = yard.call("phone")

    sent = yard.sent("phone")["message"]
    assert "Here it changes nothing: try it" in sent
    address = sent.rpartition("Done? ")[2]
    assert address.startswith("https://plants.example/t/")
    token = read(address.rpartition("/")[2], page_key(None, load_settings().ledger_file))
    assert token is not None
    assert token.purpose is Purpose.TRY
    assert "phone is answered by a link as its last line" in result.stdout
    assert "/t/" not in result.output


def test_a_channel_that_refuses_ends_with_1_and_why(yard: Yard) -> None:
    yard.channel("phone", NO)

    result = yard.call()

    assert result.exit_code == 1
    (line,) = result.stdout.splitlines()
    assert line.split()[:2] == ["phone", "failed"]
    assert line.endswith("the service refused it (500)")


def test_a_channel_that_does_not_answer_may_have_it(yard: Yard) -> None:
    yard.channel("phone", hanging())

    result = yard.call()

    assert result.exit_code == 1
    (line,) = result.stdout.splitlines()
    assert line.split()[:3] == ["phone", "maybe", "sent"]
    assert line.endswith("no answer in time; perhaps it arrived all the same")


def test_a_login_page_is_no_success(yard: Yard) -> None:
    yard.channel("phone", whole(b"<html><title>Log in</title></html>"))

    result = yard.call()

    assert result.exit_code == 1
    assert "answered with a web page" in result.stdout


def test_all_are_tried_whatever_becomes_of_the_first(
    yard: Yard, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As the daemon sends: through a process of its own."""
    monkeypatch.setattr(try_channel, "SenderProcess", SenderProcess)
    for name, talk in (("bell", NO), ("chat_of_the_house", hanging()), ("phone", OK)):
        yard.channel(name, talk)

    result = yard.call()

    assert result.exit_code == 1
    lines = result.stdout.splitlines()
    rows = [line for line in lines[:-1] if not line.startswith(" ")]
    assert all(len(line) <= 78 for line in lines)
    assert [" ".join(row.split()[:2]) for row in rows] == [
        "bell failed",
        "chat_of_the_house maybe",
        "phone sent",
    ]
    begins = [row.index(state) for row, state in zip(rows, ("fai", "may", "sen"), strict=True)]
    assert len(set(begins)) == 1


def test_one_alone_is_tried_when_it_is_named(yard: Yard) -> None:
    yard.channel("bell", OK)
    yard.channel("phone", OK)

    assert yard.call("phone").exit_code == 0
    assert yard.servers["bell"].asked == []


# -- what cannot be tried


def test_an_unknown_name_ends_with_2_and_those_that_there_are(yard: Yard) -> None:
    yard.channel("bell", OK)
    yard.channel("phone", OK)

    result = yard.call("telegraph")

    assert (result.exit_code, result.stdout) == (2, "")
    assert result.stderr == 'sillward: "telegraph" is not one of your channels (bell, phone)\n'
    assert yard.servers["bell"].asked == []


@pytest.mark.parametrize(
    ("url", "told"),
    [(None, "has no url"), (f"smoke://{PASSWORD}/{PATH}", "is not one that Apprise understands")],
)
def test_a_url_that_is_wrong_ends_with_78(yard: Yard, url: str | None, told: str) -> None:
    yard.channel("bell", OK)
    yard.entry("phone", url)

    for words in ([], ["phone"]):
        result = yard.call(*words)

        assert (result.exit_code, result.stdout) == (78, "")
        assert result.stderr.startswith('sillward: yard.toml: channels[1] "phone": ')
        assert told in result.stderr
    assert yard.servers["bell"].asked == []


def test_the_wrong_url_of_another_channel_keeps_none_from_its_trial(yard: Yard) -> None:
    yard.channel("bell", OK)
    yard.entry("phone", None)

    assert yard.call("bell").exit_code == 0


def test_without_a_channel_it_ends_with_78(yard: Yard) -> None:
    for words in ([], ["phone"]):
        result = yard.call(*words)

        assert result.exit_code == 78
        assert "there are none, so nobody would be told" in result.stderr


# -- what is sent


def test_the_message_is_clearly_a_trial(yard: Yard) -> None:
    yard.channel("phone", OK, 'rounds = ["dusk", "alarm"]')

    yard.call()

    message = yard.sent("phone")
    assert message["title"] == "Test of sillward: nothing to do"
    assert message["message"] == (
        "Channel phone of Courtyard, Thu 14 May 2026 17:05.\n"
        "Real ones (dusk, alarm) come in short, at most 300 characters."
    )


def test_a_full_channel_gets_the_sheet_of_now_too(yard: Yard) -> None:
    keep_a_forecast()
    yard.channel("desk", OK, 'length = "full"')
    yard.channel("phone", OK)

    assert yard.call().exit_code == 0

    lines = yard.sent("desk")["message"].splitlines()
    assert yard.sent("desk")["title"] == channel_trial.TITLE
    assert lines[1] == "Real ones (dusk, morning, week, alarm) come in full."
    assert lines[2] == "Below, as an example, is the current sheet."
    assert lines[4] == "Courtyard: dusk round, Thursday 14 May 2026, 17:05"
    assert "CARRY IN" in lines
    assert "CARRY IN" not in yard.sent("phone")["message"]


@pytest.mark.parametrize("age_h", [None, 30])
def test_without_a_forecast_there_is_no_sheet(yard: Yard, age_h: int | None) -> None:
    if age_h is not None:
        with closing(Ledger(load_settings().ledger_file)) as ledger:
            ago = NOW - timedelta(hours=age_h)
            kept = SavedForecast("Open-Meteo", ago, ago, COLD_SNAP.read_bytes())
            ledger.forecasts.keep("Courtyard", kept)
    yard.channel("desk", OK, 'length = "full"')

    assert yard.call().exit_code == 0

    assert len(yard.sent("desk")["message"].splitlines()) == 2


def test_a_ledger_that_cannot_be_read_keeps_nobody_from_a_trial(yard: Yard) -> None:
    load_settings().ledger_file.write_bytes(b"this is no database, whatever its name says" * 99)
    yard.channel("desk", OK, 'length = "full"')

    assert yard.call().exit_code == 0


def dump(path: Path) -> list[str]:
    with closing(sqlite3.connect(path)) as db:
        return list(db.iterdump())


def test_nothing_is_written_down(yard: Yard) -> None:
    path = load_settings().ledger_file
    keep_a_forecast()
    before = dump(path)
    yard.channel("desk", OK, 'length = "full"')
    yard.channel("phone", NO)

    yard.call()

    assert dump(path) == before


def test_no_ledger_is_made_for_it(yard: Yard) -> None:
    yard.channel("desk", OK, 'length = "full"')

    yard.call()

    assert not load_settings().ledger_file.exists()


@pytest.mark.parametrize("units", [SI, Units("°F", "12 h", "mph")])
@pytest.mark.parametrize("full", [False, True])
def test_the_longest_trial_fits_a_push(full: bool, units: Units) -> None:
    site = Site("蘭" * 80, 0, 0, 0, SITE.zone)
    channel = Channel(
        "c" * 32, None, ("dusk", "morning", "week", "alarm"), all_clear=False, full_length=full
    )

    made = channel_trial.message(channel, Voice(site, units), NOW, None)

    assert len(made.title) + 1 + len(made.body) <= MAX_CHARACTERS


# -- one trial


def ticking() -> Iterator[float]:
    yield from (100.0, 102.25)


@pytest.mark.parametrize(
    ("error", "state", "why"),
    [
        (None, State.SENT, ""),
        (DeliveryError("channel phone: no"), State.FAILED, "no"),
        (DeliveryError("channel phone: late", perhaps_sent=True), State.MAYBE, "late"),
        (RuntimeError(PASSWORD), State.FAILED, "failed (RuntimeError)"),
    ],
)
def test_whatever_a_sender_does_is_an_outcome(
    error: Exception | None, state: State, why: str
) -> None:
    def sender(channel: Channel, message: Message) -> None:
        if error is not None:
            raise error

    ticks = ticking()

    outcome = channel_trial.send_trial(a_channel(), Message("t", "b"), sender, lambda: next(ticks))

    assert outcome == Outcome("phone", state, why, 2.25)


def test_a_long_reason_goes_on_below_itself() -> None:
    outcome = Outcome("phone", State.FAILED, "no safe connection can be made; " * 4, 12.34)

    lines = channel_trial.line(
        outcome, [a_channel(), a_channel("telephone")], Screen(60)
    ).splitlines()

    assert lines[0].startswith("phone      failed      12.3 s  no safe")
    assert {line.index(line.split()[0]) for line in lines[1:]} == {lines[0].index("no safe")}
