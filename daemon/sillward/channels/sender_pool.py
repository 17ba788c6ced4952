"""A child process that sends many messages at once, each in a thread of its own.

`sender_process` sends one after the other, which is enough for one household. Here requests have
numbers, replies come in any order, and a thread of this process handles all the conversations.

A child that leaves a request unanswered has a thread that hangs. It gets no new requests, and is
ended once the others are answered; so is one that may have left a thread behind, or has sent a lot.
By then a second child has taken over; there are rarely more. Whatever was being sent in a child
that ends may have arrived.

If a child dies at work, nobody knows which message was to blame. So the next message to each of
those channels goes through a child that has nothing else to do, one after the other: a message that
kills its child cannot affect the others twice.
"""

import asyncio
import json
import sys
import threading
from asyncio.subprocess import DEVNULL, PIPE, Process
from collections.abc import Callable, Coroutine, Mapping, Sequence
from concurrent.futures import Future
from contextlib import suppress
from functools import partial
from itertools import count
from typing import Any

from sillward.channels import apprise_sender, sending
from sillward.channels.dispatcher import AT_ONCE
from sillward.channels.sender import SEND_S
from sillward.channels.sender_process import START_S, answer, lost, require_sent, to_check, to_send
from sillward.child_process import (
    END_S,
    MAX_REPLY_BYTES,
    ChildError,
    Failure,
    end_first,
    environment,
    serve_at_once,
)
from sillward.config.channel import Channel
from sillward.errors import DeliveryError, NoThreadError
from sillward.wording.push import Message

COMMAND = (sys.executable, "-m", "sillward.channels.sender_pool")

REST_S = 20.0
"""A child that has been idle for this long is ended [s]. Judgement: after dusk its memory is given
back, but no new child is started between the turns of two households."""

MOST_REQUESTS = 1_000
"""After this many requests another child takes over. Judgement: whatever a library leaks with each
request stays small."""

WAIT_SHARE = 0.25
"""A request to a child of its own waits for those before it this part of the longest time for a
request: with that time itself it is less than a claim on a notice holds (`outbox.LEASE`), so that
nobody else takes the notice for given up while it is on its way."""


class SenderPool:
    """Sends through a child process, which is started when it is needed. Threads may share it."""

    def __init__(
        self,
        command: Sequence[str] = COMMAND,
        limit_s: float = SEND_S + START_S,
        rest_s: float = REST_S,
    ) -> None:
        """limit_s: longest time for one request, the start of a child included [s]."""
        self._command, self._limit_s, self._rest_s = tuple(command), limit_s, rest_s
        self._loop = asyncio.new_event_loop()
        self._thread = threading.Thread(
            target=self._loop.run_forever, name="sillward-sending", daemon=True
        )
        self._children: list[_Child] = []
        self._starting = asyncio.Lock()
        self._alone = asyncio.Lock()
        self._suspects: set[str] = set()
        """The URLs of the channels to which something was under way when a child died."""
        self._closed = False
        self._thread.start()

    def submit(self, channel: Channel, message: Message) -> "Future[None]":
        """Begin to send one message. Its result raises DeliveryError unless the channel took it."""
        return self._run(self._send(channel, message))

    def problems(self, channels: Sequence[Channel]) -> list[str | None]:
        """Return what is wrong with the URL of each of these channels, if anything is."""
        try:
            reply = self._run(self._ask(to_check(channels))).result()
        except (OSError, ChildError):
            reply = {}
        found: list[str | None] | None = reply.get("problems")
        return apprise_sender.problems(channels) if found is None else found

    @property
    def pids(self) -> list[int]:
        """The process ids of the children, the oldest first."""
        return [child.pid for child in self._children]

    def close(self) -> None:
        """End the children, at once, and this."""
        if self._thread.is_alive():
            self._run(self._end_all()).result()
            self._loop.call_soon_threadsafe(self._loop.stop)
            self._thread.join()
            self._loop.close()

    # -- in the thread

    def _run(self, work: Coroutine[Any, Any, Any]) -> "Future[Any]":
        return asyncio.run_coroutine_threadsafe(work, self._loop)

    async def _send(self, channel: Channel, message: Message) -> None:
        url = "" if channel.url is None else channel.url.get_secret_value()
        try:
            reply = await self._ask(to_send(channel, message), alone=url in self._suspects)
        except OSError:  # no memory for another process: then in this one
            await _send_here(channel, message, self._limit_s)
            return
        except ChildError as error:
            if error.failure is Failure.ENDED:
                self._suspects.add(url)
            raise lost(channel, perhaps_sent=error.heard) from None
        self._suspects.discard(url)
        if "refused" in reply:
            raise _no_thread(channel)
        if "failed" in reply:
            msg = f"channel {channel.name}: failed ({reply['failed']})"
            raise DeliveryError(msg, perhaps_sent=True)
        require_sent(reply)

    async def _ask(self, request: Mapping[str, Any], *, alone: bool = False) -> dict[str, Any]:
        """Return the reply to a request. Raise ChildError without one, and OSError if no child can
        be started.

        alone: ask a child that is asked nothing else.
        """
        if not alone:
            return await self._ask_child(request, alone=False)
        try:
            async with asyncio.timeout(self._limit_s * WAIT_SHARE):
                await self._alone.acquire()
        except TimeoutError:
            raise ChildError(Failure.TIMED_OUT, heard=False) from None
        try:
            return await self._ask_child(request, alone=True)
        finally:
            self._alone.release()

    async def _ask_child(self, request: Mapping[str, Any], *, alone: bool) -> dict[str, Any]:
        async with self._starting:
            if self._closed:
                raise ChildError(Failure.ENDED, heard=False)
            child = next((one for one in self._children if one.takes_more and not alone), None)
            if child is None:
                child = await _Child.start(self._command, self._rest_s, self._children.remove)
                child.takes_more = not alone
                self._children.append(child)
            # Before another may begin to start one: what is asked keeps this one from its rest.
            asked = asyncio.ensure_future(child.ask(request, self._limit_s))
            await asyncio.sleep(0)
        return await asked

    async def _end_all(self) -> None:
        async with self._starting:
            self._closed = True
        await asyncio.gather(*(child.end(at_once=True) for child in list(self._children)))
        if others := asyncio.all_tasks() - {asyncio.current_task()}:
            await asyncio.wait(others)


class _Child:
    """A child process and what it was asked."""

    def __init__(self, process: Process, rest_s: float, gone: Callable[["_Child"], None]) -> None:
        self._process, self._rest_s, self._gone = process, rest_s, gone
        self._numbers = count(1)
        self._asked = 0
        self._waiting: dict[int, asyncio.Future[dict[str, Any]]] = {}
        self._hangs = False
        self.takes_more = True
        """Whether it may be asked something else."""
        self._rest: asyncio.TimerHandle | None = None
        self._ending: asyncio.Task[None] | None = None
        self._listening = asyncio.create_task(self._listen())

    @classmethod
    async def start(
        cls, command: Sequence[str], rest_s: float, gone: Callable[["_Child"], None]
    ) -> "_Child":
        """Start a child. Raise OSError if that cannot be.

        gone: called with the child once it has ended.
        """
        try:
            process = await asyncio.create_subprocess_exec(
                *command,
                stdin=PIPE,
                stdout=PIPE,
                stderr=DEVNULL,
                limit=MAX_REPLY_BYTES,
                env=environment(),
                start_new_session=True,  # a signal from our terminal lets it finish
            )
        except RuntimeError as error:  # Python 3.11 waits for a child in a thread
            raise OSError(str(error)) from None
        end_first(process.pid)
        return cls(process, rest_s, gone)

    @property
    def pid(self) -> int:
        """Its process id."""
        return self._process.pid

    async def ask(self, request: Mapping[str, Any], limit_s: float) -> dict[str, Any]:
        """Return the reply to a request. Raise ChildError without one."""
        number = next(self._numbers)
        reply = self._waiting[number] = asyncio.get_running_loop().create_future()
        self._asked += 1
        self.takes_more = self.takes_more and self._asked < MOST_REQUESTS
        if self._rest is not None:
            self._rest.cancel()
        try:
            async with asyncio.timeout(limit_s):
                line = json.dumps({**request, "number": number}, allow_nan=False)
                self._stdin.write(line.encode() + b"\n")
                with suppress(ConnectionError):  # why it reads no more the listener finds out
                    await self._stdin.drain()
                answered: dict[str, Any] = await reply
        except TimeoutError:
            self._hangs, self.takes_more = True, False
            raise ChildError(Failure.TIMED_OUT, heard=True) from None
        finally:
            del self._waiting[number]
            self._look()
        if answered.get("perhaps_sent"):
            self.takes_more = False
            self._look()
        return answered

    async def end(self, *, at_once: bool) -> None:
        """End it: at once, or as soon as it comes to its end by itself."""
        self.takes_more = False
        with suppress(OSError):
            self._stdin.close()
        await self._gone_within(0.0 if at_once else END_S)
        await self._listening

    @property
    def _stdin(self) -> asyncio.StreamWriter:
        assert self._process.stdin is not None
        return self._process.stdin

    def _look(self) -> None:
        """Let it rest, or end it, if it has nothing to do."""
        if self._waiting or self._ending is not None:
            return
        if not self.takes_more:
            self._ending = asyncio.create_task(self.end(at_once=self._hangs))
        else:
            loop = asyncio.get_running_loop()
            self._rest = loop.call_later(self._rest_s, self._end_of_rest)

    def _end_of_rest(self) -> None:
        self.takes_more = False
        self._look()

    async def _listen(self) -> None:
        """Hand out replies until there are no more, or nonsense comes; then it is at its end."""
        assert self._process.stdout is not None
        wait_s = END_S
        try:
            while line := await self._process.stdout.readline():
                reply = json.loads(line)
                waiting = self._waiting.get(reply["number"])
                if waiting is not None and not waiting.done():
                    waiting.set_result(reply)
        except (ValueError, KeyError, TypeError):
            wait_s = 0.0
        self.takes_more = False
        for waiting in self._waiting.values():
            if not waiting.done():
                waiting.set_exception(ChildError(Failure.ENDED, heard=True))
        await self._gone_within(wait_s)
        self._gone(self)

    async def _gone_within(self, seconds: float) -> None:
        """Wait for the process to end; kill it after this long [s]."""
        with suppress(TimeoutError):
            await asyncio.wait_for(self._process.wait(), seconds)
        if self._process.returncode is None:
            with suppress(ProcessLookupError):
                self._process.kill()
            await self._process.wait()


async def _send_here(channel: Channel, message: Message, limit_s: float) -> None:
    """Send in a thread of this process. Raise DeliveryError unless the channel took it in time."""
    sent = Future[None]()

    def send() -> None:
        try:
            sending.send(channel, message, limited=False)
        except Exception as error:
            sent.set_exception(error)
        else:
            sent.set_result(None)

    try:
        threading.Thread(target=send, daemon=True).start()
    except RuntimeError:
        raise _no_thread(channel) from None
    try:
        async with asyncio.timeout(limit_s):
            await asyncio.shield(asyncio.wrap_future(sent))
    except TimeoutError:
        raise lost(channel, perhaps_sent=True) from None


def _no_thread(channel: Channel) -> DeliveryError:
    """Return the error for a message that was never begun to be sent."""
    return DeliveryError(f"channel {channel.name}: {NoThreadError()}")


if __name__ == "__main__":
    # A limit of Apprise would have all of its calls share a few threads; ours is the daemon's.
    serve_at_once(partial(answer, limited=False), AT_ONCE, SEND_S + START_S)
