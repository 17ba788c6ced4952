"""The child process that sends: whatever becomes of it, the notice's fate is known."""

import os
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from pydantic import SecretStr

from sillward.channels import apprise_sender
from sillward.channels.push_address import PushAddress
from sillward.channels.sender_process import SenderProcess
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.wording.push import Message
from tests.support.loopback_server import serving, whole
from tests.support.push_service import IDENTITY, Browser

MESSAGE = Message("Carry in 2 plants by 17:10", "Pergola: first, second\n23 °C")
OK = whole(b"ok")


def to(address: str, name: str = "phone") -> Channel:
    url = SecretStr(address.replace("http://", "json://"))
    return Channel(name, url, ("dusk",), all_clear=False, full_length=False)


def scripted(text: str, limit_s: float = 10.0) -> SenderProcess:
    """A sender whose child runs this program instead."""
    return SenderProcess((sys.executable, "-c", text), limit_s)


@pytest.fixture
def sender() -> Iterator[SenderProcess]:
    made = SenderProcess()
    yield made
    made.close()


def child_of(sender: SenderProcess) -> int:
    assert sender.pid is not None
    return sender.pid


def test_a_notice_arrives_through_the_child(sender: SenderProcess) -> None:
    with serving(OK) as server:
        sender(to(server.address), MESSAGE)

    (asked,) = server.asked
    assert asked.startswith(b"POST / ")


def test_one_child_sends_all_there_is_and_then_goes(sender: SenderProcess) -> None:
    with serving(OK) as server:
        sender(to(server.address), MESSAGE)
        first = child_of(sender)
        sender(to(server.address), MESSAGE)
        assert child_of(sender) == first

        sender.close()

        with pytest.raises(ProcessLookupError):
            os.kill(first, 0)
        sender(to(server.address), MESSAGE)
        assert child_of(sender) != first
    assert len(server.asked) == 3


def test_a_push_goes_through_the_child_too_and_to_no_machine_at_home(
    sender: SenderProcess,
) -> None:
    browser = Browser("https://localhost:9/push/one")
    url = PushAddress(browser.subscription, IDENTITY).url
    phone = Channel("phone of Inés", url, ("dusk",), all_clear=False, full_length=False)

    with pytest.raises(DeliveryError, match="phone of Inés: cannot be reached"):
        sender(phone, MESSAGE)


def test_a_refusal_comes_back_as_it_was(sender: SenderProcess) -> None:
    busy = whole(b"", "Retry-After: 120", status="429 Too Many Requests")
    with serving(busy) as server, pytest.raises(DeliveryError, match=r"phone: .*429") as caught:
        sender(to(server.address), MESSAGE)

    assert caught.value.perhaps_sent is False
    assert caught.value.wait is not None
    assert caught.value.wait.total_seconds() == pytest.approx(120, abs=5)


def test_a_child_that_was_killed_while_it_had_nothing_to_do_costs_nothing(
    sender: SenderProcess,
) -> None:
    with serving(OK) as server:
        sender(to(server.address), MESSAGE)
        os.kill(child_of(sender), signal.SIGKILL)
        os.waitid(os.P_PID, child_of(sender), os.WEXITED | os.WNOWAIT)

        sender(to(server.address), MESSAGE)

    assert len(server.asked) == 2


def test_a_child_that_dies_over_its_task_may_have_sent_it() -> None:
    sender = scripted("input()")

    with pytest.raises(DeliveryError, match="courier was lost") as caught:
        sender(to("http://127.0.0.1:9"), MESSAGE)

    assert caught.value.perhaps_sent
    sender.close()


def test_a_child_that_does_not_answer_is_ended_in_time() -> None:
    sender = scripted("input(); import time; time.sleep(600)", limit_s=0.5)
    begun = time.monotonic()

    with pytest.raises(DeliveryError) as caught:
        sender(to("http://127.0.0.1:9"), MESSAGE)

    assert caught.value.perhaps_sent
    assert time.monotonic() - begun < 20
    assert sender.pid is None


@pytest.mark.parametrize("said", ["no json", "", "{", "\\xff"])
def test_a_child_that_talks_nonsense_may_have_sent_it(said: str) -> None:
    sender = scripted(f"input(); print({said!r})")

    with pytest.raises(DeliveryError) as caught:
        sender(to("http://127.0.0.1:9"), MESSAGE)

    assert caught.value.perhaps_sent
    sender.close()


def test_where_no_child_can_be_started_the_notice_goes_out_all_the_same(tmp_path: Path) -> None:
    sender = SenderProcess((str(tmp_path / "nothing here"),))

    with serving(OK) as server:
        sender(to(server.address), MESSAGE)

    assert len(server.asked) == 1
    assert sender.problems([to("http://127.0.0.1:9")]) == [None]


def test_no_secret_is_in_the_command_line_or_the_environment_of_the_child(
    sender: SenderProcess,
) -> None:
    with serving(OK) as server:
        sender(to(f"{server.address}/s3cret-path"), MESSAGE)
        process = Path(f"/proc/{child_of(sender)}")
        if not process.exists():
            pytest.skip("no /proc here")
        seen = (process / "cmdline").read_bytes() + (process / "environ").read_bytes()

    assert b"s3cret-path" in server.asked[0]
    assert b"s3cret-path" not in seen


def test_the_child_judges_urls_as_the_daemon_would(sender: SenderProcess) -> None:
    listed = [
        to("http://127.0.0.1:9"),
        to("nothing://", "tablet"),
        Channel("mail", None, ("week",), all_clear=False, full_length=True),
    ]

    assert sender.problems(listed) == apprise_sender.problems(listed)
    assert sender.problems(listed)[0] is None
    assert sender.problems(listed)[1]
