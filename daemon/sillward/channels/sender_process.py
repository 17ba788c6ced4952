"""A courier: a process of its own that sends for the daemon, and ends when there is nothing left.

Apprise with its hundred plugins takes 20 MB, and threads of a plugin that hangs cannot be ended. A
daemon that sends three notices a day keeps neither. Tasks and answers are lines of JSON over pipes:
what is secret is in no command line.
"""

import base64
import json
import os
import select
import subprocess
import sys
import time
from collections.abc import Iterable, Iterator, Sequence
from datetime import timedelta
from typing import IO, Any

from pydantic import SecretStr

from sillward.channels import apprise_sender
from sillward.config.loader import Channel
from sillward.errors import DeliveryError
from sillward.wording.push import Message

COMMAND = (sys.executable, "-m", "sillward.channels.sender_process")

START_S = 20.0
"""For the courier to start, on a slow machine [s]. Judgement."""

END_S = 2.0
"""Longest to wait for one that has nothing more to do [s]. Judgement."""

_PIECE = 65_536


class _LostError(Exception):
    """The courier ended, or did not answer in time. heard: whether it had got its task."""

    def __init__(self, *, heard: bool) -> None:
        self.heard = heard


class SenderProcess:
    """Sends through a child process, which is started when it is needed."""

    def __init__(
        self, command: Sequence[str] = COMMAND, limit_s: float = apprise_sender.SEND_S + START_S
    ) -> None:
        self._command = tuple(command)
        self._limit_s = limit_s
        self._child: subprocess.Popen[bytes] | None = None

    def __call__(self, channel: Channel, message: Message) -> None:
        """Send one message. Raise DeliveryError unless the channel took it."""
        task = {"do": "send", **_document(message), **_told(channel)}
        try:
            answer = self._asked(task)
        except OSError:  # no room for another process: then in this one
            apprise_sender.send(channel, message)
            return
        except _LostError as lost:
            msg = f"channel {channel.name}: its courier was lost"
            raise DeliveryError(msg, perhaps_sent=lost.heard) from None
        if "error" in answer:
            wait_s = answer["wait_s"]
            wait = None if wait_s is None else timedelta(seconds=wait_s)
            raise DeliveryError(answer["error"], perhaps_sent=answer["perhaps_sent"], wait=wait)

    def problems(self, listed: Sequence[Channel]) -> list[str | None]:
        """What is wrong with the URL of each of these channels, if anything is."""
        task = {"do": "check", "channels": [_told(one) for one in listed]}
        try:
            found: list[str | None] = self._asked(task)["problems"]
        except (OSError, _LostError):
            return apprise_sender.problems(listed)
        return found

    def close(self) -> None:
        """Let the child go; the next task starts another."""
        child, self._child = self._child, None
        if child is None:
            return
        try:
            child.communicate(timeout=END_S)
        except (OSError, ValueError, subprocess.TimeoutExpired):
            child.kill()
            child.communicate()

    def _asked(self, task: dict[str, Any]) -> dict[str, Any]:
        """Give the child a task and wait for its answer. Raise OSError or _LostError."""
        fresh = self._child is None
        line = json.dumps(task).encode() + b"\n"
        try:
            return self._answer_to(line)
        except _LostError as lost:
            self._gone()
            if fresh or lost.heard:
                raise
        return self._answer_to(line)  # it had ended while there was nothing to do

    def _answer_to(self, line: bytes) -> dict[str, Any]:
        if self._child is None:
            self._child = subprocess.Popen(
                self._command,
                stdin=subprocess.PIPE,
                stdout=subprocess.PIPE,
                stderr=subprocess.DEVNULL,
                bufsize=0,
                start_new_session=True,  # what ends us at a terminal lets it finish
            )
        child = self._child
        assert child.stdin is not None
        assert child.stdout is not None
        until = time.monotonic() + self._limit_s
        try:
            _write(child.stdin, line, until)
        except OSError:
            raise _LostError(heard=False) from None
        return _read(child.stdout, until)

    def _gone(self) -> None:
        child, self._child = self._child, None
        if child is not None:
            child.kill()
            child.communicate()


def _write(pipe: IO[bytes], line: bytes, until: float) -> None:
    """A line with pictures is longer than a pipe holds. Raise OSError if nobody takes it in time:
    a child acts on whole lines only, so it has heard nothing."""
    rest = memoryview(line)
    os.set_blocking(pipe.fileno(), False)
    while rest:
        left = until - time.monotonic()
        if left <= 0 or not select.select([], [pipe], [], left)[1]:
            raise TimeoutError
        rest = rest[os.write(pipe.fileno(), rest[:_PIECE]) :]


def _read(pipe: IO[bytes], until: float) -> dict[str, Any]:
    """One line, as what it says. Raise _LostError."""
    said = bytearray()
    while not said.endswith(b"\n"):
        left = until - time.monotonic()
        ready = left > 0 and select.select([pipe], [], [], left)[0]
        piece = os.read(pipe.fileno(), _PIECE) if ready else b""
        if not piece:
            raise _LostError(heard=True)
        said += piece
    try:
        answer: dict[str, Any] = json.loads(said)
    except ValueError:
        raise _LostError(heard=True) from None
    return answer


def _document(message: Message) -> dict[str, Any]:
    images = [[name, base64.b64encode(image).decode()] for name, image in message.images]
    return {
        "title": message.title,
        "body": message.body,
        "html": message.html,
        "images": images,
        "urgent": message.urgent,
    }


def _told(channel: Channel) -> dict[str, Any]:
    return {
        "name": channel.name,
        "url": None if channel.url is None else channel.url.get_secret_value(),
        "full_length": channel.full_length,
    }


# -- in the child


def serve(tasks: Iterable[str]) -> Iterator[str]:
    """Do each task; give a line for each."""
    for line in tasks:
        task = json.loads(line)
        yield json.dumps(_sent(task) if task["do"] == "send" else _checked(task))


def _sent(task: dict[str, Any]) -> dict[str, Any]:
    try:
        apprise_sender.send(_channel(task), _message(task))
    except DeliveryError as error:
        wait_s = None if error.wait is None else error.wait.total_seconds()
        return {"error": str(error), "perhaps_sent": error.perhaps_sent, "wait_s": wait_s}
    return {}


def _message(task: dict[str, Any]) -> Message:
    images = tuple((name, base64.b64decode(image)) for name, image in task["images"])
    return Message(task["title"], task["body"], task["html"], images, task["urgent"])


def _checked(task: dict[str, Any]) -> dict[str, Any]:
    return {"problems": apprise_sender.problems([_channel(one) for one in task["channels"]])}


def _channel(told: dict[str, Any]) -> Channel:
    url = None if told["url"] is None else SecretStr(told["url"])
    return Channel(told["name"], url, (), all_clear=False, full_length=told["full_length"])


if __name__ == "__main__":
    # What a plugin prints must not look like an answer.
    answers = os.fdopen(os.dup(sys.stdout.fileno()), "w")
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    for answer in serve(sys.stdin):
        print(answer, file=answers, flush=True)
