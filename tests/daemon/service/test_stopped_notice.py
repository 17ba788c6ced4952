"""The last word: which channels are told that the service has stopped, whatever else is broken."""

import json
import logging
from pathlib import Path
from typing import Any

import pytest
from pydantic import SecretStr

from sillward.channels import apprise_sender
from sillward.config.channel import Channel
from sillward.config.stopped_notice_settings import (
    StoppedNoticeSettings,
    read_stopped_notice_settings,
)
from sillward.errors import DeliveryError
from sillward.service import stopped_notice
from sillward.wording.message_length import MAX_CHARACTERS
from sillward.wording.push import Message
from tests.support.loopback_server import SHORT_S, hanging, serving, whole

SECRET = "t0ken-of-mine"
WHY = "exit status 78"


def shown(left: StoppedNoticeSettings) -> tuple[dict[str, str], str | None]:
    trouble = left.trouble_url
    urls = {name: url.get_secret_value() for name, url in left.channels.items()}
    return urls, None if trouble is None else trouble.get_secret_value()


# -- who is left to be told


def test_without_any_setting_there_is_nobody() -> None:
    assert read_stopped_notice_settings({}) == StoppedNoticeSettings({}, None)
    assert stopped_notice.send(read_stopped_notice_settings({}), WHY) == []


def test_all_channels_of_environment_and_credentials_are_told(tmp_path: Path) -> None:
    (tmp_path / "channel-mail").write_text("mailto://a\n", encoding="utf-8")
    (tmp_path / "channel-phone").write_text("ntfy://older", encoding="utf-8")
    (tmp_path / "channel-empty").write_text(" ", encoding="utf-8")
    (tmp_path / "channel-binary").write_bytes(b"\xff\xfe")
    (tmp_path / "channel-folder").mkdir()
    (tmp_path / "forecast-api-key").write_text("key", encoding="utf-8")
    (tmp_path / "heartbeat-trouble-url").write_text("http://x/fail", encoding="utf-8")

    left = read_stopped_notice_settings(
        {
            "CREDENTIALS_DIRECTORY": str(tmp_path),
            "SILLWARD_CHANNELS__PHONE": "ntfy://newer",
            "SILLWARD_CHANNELS": '{"wall": "json://wall", "odd": ["json://no"]}',
        }
    )

    assert shown(left) == (
        {"mail": "mailto://a", "phone": "ntfy://newer", "wall": "json://wall"},
        "http://x/fail",
    )
    assert "newer" not in repr(left)


@pytest.mark.parametrize("where", ["environment", "credentials"])
def test_a_channel_of_its_own_is_told_alone(where: str, tmp_path: Path) -> None:
    environment = {
        "SILLWARD_CHANNELS__PHONE": "ntfy://phone",
        "SILLWARD_CREDENTIALS": str(tmp_path),
    }
    if where == "environment":
        environment["SILLWARD_LAST_WORD"] = "json://neighbour"
    else:
        (tmp_path / "last-word").write_text("json://neighbour", encoding="utf-8")

    assert shown(read_stopped_notice_settings(environment)) == (
        {"last-word": "json://neighbour"},
        None,
    )


@pytest.mark.parametrize(
    "broken",
    [
        {"SILLWARD_LOG_LEVEL": "LOUD"},
        {"SILLWARD_FORECAST": "["},
        {"SILLWARD_FORECAST__SOURCE": "nobody"},
        {"SILLWARD_CHANNELS": "["},
        {"SILLWARD_CHANNELS": "[1]"},
        {"SILLWARD_CHANNELS": "[" * 100_000},
        {"SILLWARD_HEARTBEAT__EVERY": "soon"},
        {"SILLWARD_CREDENTIALS": "~no-such-user-here/x"},
        {"SILLWARD_CREDENTIALS": "/nowhere/at/all"},
        {"SILLWARD_CREDENTIALS": "/proc/self/mem"},
        {"SILLWARD_LAST_WORD": " "},
        {"SILLWARD_LEDGER": "~no-such-user-here/ledger"},
    ],
)
def test_what_is_broken_beside_it_does_not_matter(broken: dict[str, str]) -> None:
    environment = {**broken, "sillward_channels__phone": "ntfy://phone"}

    assert shown(read_stopped_notice_settings(environment))[0] == {"phone": "ntfy://phone"}


# -- telling


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[tuple[str, Message]]:
    """What is sent: the channel `deaf` refuses it, `slow` may have it, `broken` has a defect."""
    kept: list[tuple[str, Message]] = []

    def send(channel: Channel, message: Message) -> None:
        kept.append((channel.name, message))
        if channel.name == "broken":
            raise RuntimeError(SECRET)
        if channel.name != "well":
            msg = f"channel {channel.name}: cannot be reached"
            raise DeliveryError(msg, perhaps_sent=channel.name == "slow")

    monkeypatch.setattr(apprise_sender, "send", send)
    return kept


def test_all_are_tried_once_whatever_becomes_of_the_others(
    sent: list[tuple[str, Message]],
) -> None:
    names = ("broken", "deaf", "slow", "well")

    told = stopped_notice.send(
        StoppedNoticeSettings({name: SecretStr("x://") for name in names}, None), WHY
    )

    assert [name for name, _ in sent] == list(names)
    assert told == [
        ("broken", "failed (RuntimeError)"),
        ("deaf", "channel deaf: cannot be reached"),
        ("slow", "perhaps told: channel slow: cannot be reached"),
        ("well", "told"),
    ]


@pytest.mark.parametrize("why", [WHY, "", "x" * 5_000, "two\nlines\x1b[31m"])
def test_it_says_what_to_do_in_the_length_of_a_push(
    sent: list[tuple[str, Message]], why: str
) -> None:
    stopped_notice.send(StoppedNoticeSettings({"well": SecretStr("x://")}, None), why)

    ((_, message),) = sent
    assert message.title == "sillward has stopped"
    assert "go by your own forecast and thermometer" in message.body
    assert "`journalctl -u sillward`" in message.body
    assert why.isprintable() is False or why[:20] in message.body
    assert ("Why:" in message.body) == bool(why)
    assert all(line.isprintable() for line in message.body.splitlines())
    assert len(message.title) + len(message.body) < MAX_CHARACTERS


def test_over_real_wires_a_hang_does_not_keep_it_from_the_others(
    monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(apprise_sender, "WIRE_S", SHORT_S)
    with (
        serving(hanging(), ends=b"}") as deaf,
        serving(whole(b"{}"), ends=b"}") as well,
        serving(whole(b"OK")) as monitor,
    ):
        environment = {
            "SILLWARD_CHANNELS__A_DEAF": f"json://{deaf.address.removeprefix('http://')}/{SECRET}",
            "SILLWARD_CHANNELS__B_NONE": f"nonsense {SECRET}",
            "SILLWARD_CHANNELS__C_WELL": f"json://{well.address.removeprefix('http://')}/{SECRET}",
            "SILLWARD_HEARTBEAT__TROUBLE_URL": f"{monitor.address}/{SECRET}/fail",
        }
        told = stopped_notice.send(read_stopped_notice_settings(environment), WHY)

    assert told == [
        (
            "a_deaf",
            "perhaps told: channel a_deaf: no answer in time; perhaps it arrived all the same",
        ),
        ("b_none", "channel b_none: its url cannot be used"),
        ("c_well", "told"),
        ("heartbeat", "told"),
    ]
    body: dict[str, Any] = json.loads(well.asked[0].partition(b"\r\n\r\n")[2])
    assert body["title"] == "sillward has stopped"
    assert len(monitor.asked) == 1
    streams = capfd.readouterr()
    assert SECRET not in streams.out + streams.err


def test_an_address_for_trouble_that_is_none_is_told_of(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.DEBUG):
        told = stopped_notice.send(StoppedNoticeSettings({}, SecretStr(SECRET)), WHY)

    assert told == [("heartbeat", "heartbeat: has no usable address")]
    assert SECRET not in caplog.text
