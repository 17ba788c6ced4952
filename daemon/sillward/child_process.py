"""A module of sillward run as a child process, which answers requests within bounds.

Large libraries live in children, so that the daemon stays small and that nothing in them can take
it along. The protocol is one for all children: a request is a line of JSON on standard input, its
reply a line of JSON on standard output. A child may answer any number of requests, and ends when
its standard input is closed; one that serves several at once (`serve_at_once`) has numbers for them
(see `channels.sender_pool`). Requests may hold secrets: they are in no command line, and settings
(`SILLWARD_*`) are kept out of the child's environment.
"""

import json
import os
import selectors
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from enum import Enum
from pathlib import Path
from typing import IO, Any

MAX_REPLY_BYTES = 1_000_000
"""Of a reply, unless the caller sets another bound."""

MAX_COMPLAINT_BYTES = 4_000
"""The end of what a child writes to standard error is kept, up to this."""

END_S = 2.0
"""Longest wait for a child that has nothing more to do, before it is killed [s]. Judgement: the
interpreter ends in a tenth of that."""

_PIECE_BYTES = 65_536


class Failure(Enum):
    """Why there is no reply."""

    ENDED = "ended"
    """The child ended, or what it said was no reply."""
    TIMED_OUT = "timed out"
    TOO_LARGE = "too large"


class ChildError(Exception):
    """A child gave no reply.

    heard: whether it had got its whole request, and so may have acted on it.
    status: its exit status, if it ended by itself.
    complaint: the last line that it wrote to standard error.
    """

    def __init__(
        self, failure: Failure, *, heard: bool, status: int | None = None, complaint: str = ""
    ) -> None:
        super().__init__(failure.value)
        self.failure = failure
        self.heard = heard
        self.status = status
        self.complaint = complaint


class ChildProcess:
    """A child that is started when it is first asked something, and again after it has ended."""

    def __init__(
        self, command: Sequence[str], limit_s: float, max_reply_bytes: int = MAX_REPLY_BYTES
    ) -> None:
        """Start nothing yet. limit_s: longest time for one request, the start of a child included
        [s]."""
        self._command = tuple(command)
        self._limit_s = limit_s
        self._max_reply_bytes = max_reply_bytes
        self._child: subprocess.Popen[bytes] | None = None

    @property
    def pid(self) -> int | None:
        """The process id of the child, or None if there is none."""
        return None if self._child is None else self._child.pid

    def ask(self, request: Mapping[str, Any]) -> dict[str, Any]:
        """Return the reply to a request.

        A child that had ended while it had nothing to do is replaced by another. Raise ChildError
        without a reply, and OSError if no child can be started.
        """
        line = json.dumps(request, allow_nan=False).encode() + b"\n"
        is_fresh = self._child is None
        try:
            return self._ask_child(line)
        except ChildError as error:
            if is_fresh or error.heard:
                raise
        return self._ask_child(line)

    def close(self) -> None:
        """Let the child end; the next request starts another."""
        if self._child is not None:
            self._end(time.monotonic() + END_S)

    def _ask_child(self, line: bytes) -> dict[str, Any]:
        until = time.monotonic() + self._limit_s
        if self._child is None:
            self._child = _started(self._command)
        conversation = _Conversation(self._child, line, self._max_reply_bytes)
        try:
            conversation.hold(until)
            reply = json.loads(conversation.reply)
            if isinstance(reply, dict):
                return reply
        except ValueError:
            pass  # it ended in the middle of a reply, or said something else
        except _CutOffError as error:
            self._end(0.0)
            raise ChildError(error.failure, heard=conversation.heard) from None
        except BaseException:
            self._end(0.0)
            raise
        status = self._end(until)
        failure = Failure.TIMED_OUT if status is None else Failure.ENDED
        raise ChildError(
            failure, heard=conversation.heard, status=status, complaint=conversation.complaint()
        ) from None

    def _end(self, until: float) -> int | None:
        """End the child: let it come to its end until then, or kill it.

        Return its exit status, or None if it was killed.
        """
        child, self._child = self._child, None
        assert child is not None
        try:
            for pipe in _pipes(child):
                pipe.close()
            return child.wait(max(until - time.monotonic(), 0.0))
        except subprocess.TimeoutExpired:
            return None
        finally:
            child.kill()
            child.wait()


def _started(command: Sequence[str]) -> subprocess.Popen[bytes]:
    child = subprocess.Popen(
        command,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        bufsize=0,
        env=environment(),
        start_new_session=True,  # a signal from our terminal lets it finish
    )
    end_first(child.pid)
    return child


def environment() -> dict[str, str]:
    """Return the environment of a child: ours without the settings, which may hold secrets."""
    return {k: v for k, v in os.environ.items() if not k.startswith("SILLWARD_")}


def end_first(pid: int) -> None:
    """Have Linux end this child, and not the daemon, if memory runs out."""
    with suppress(OSError):
        Path(f"/proc/{pid}/oom_score_adj").write_text("1000", encoding="ascii")


def _pipes(child: subprocess.Popen[bytes]) -> tuple[IO[bytes], IO[bytes], IO[bytes]]:
    assert child.stdin is not None
    assert child.stdout is not None
    assert child.stderr is not None
    return child.stdin, child.stdout, child.stderr


class _CutOffError(Exception):
    """The conversation went beyond its bounds."""

    def __init__(self, failure: Failure) -> None:
        self.failure = failure


class _Conversation:
    """One request and its reply, over the three pipes of a child."""

    def __init__(self, child: subprocess.Popen[bytes], line: bytes, max_reply_bytes: int) -> None:
        self._stdin, self._stdout, self._stderr = _pipes(child)
        self._rest = memoryview(line)
        self._max_reply_bytes = max_reply_bytes
        self.heard = False
        self.reply = bytearray()
        self._complaint = bytearray()

    def hold(self, until: float) -> None:
        """Write the request and read until the reply is whole or the child says no more.

        Standard error is emptied meanwhile, so that a child never waits for us. Raise _CutOffError
        at the deadline, or for a reply that is too large.
        """
        os.set_blocking(self._stdin.fileno(), False)
        with selectors.DefaultSelector() as selector:
            selector.register(self._stdin, selectors.EVENT_WRITE, self._write)
            selector.register(self._stdout, selectors.EVENT_READ, self._read_reply)
            selector.register(self._stderr, selectors.EVENT_READ, self._read_complaint)
            while selector.get_map() and not self.reply.endswith(b"\n"):
                left_s = until - time.monotonic()
                if left_s <= 0:
                    raise _CutOffError(Failure.TIMED_OUT)
                for key, _ in selector.select(left_s):
                    if key.data():
                        selector.unregister(key.fileobj)

    def complaint(self) -> str:
        """Return the last line on standard error."""
        return self._complaint.decode(errors="replace").strip().rpartition("\n")[2]

    def _write(self) -> bool:
        """Write some of the request. Return whether that is over."""
        try:
            written = os.write(self._stdin.fileno(), self._rest[:_PIECE_BYTES])
        except BrokenPipeError:  # it reads no more; why, it may still say
            return True
        self._rest = self._rest[written:]
        self.heard = not self._rest
        return self.heard

    def _read_reply(self) -> bool:
        piece = os.read(self._stdout.fileno(), _PIECE_BYTES)
        self.reply += piece
        if len(self.reply) > self._max_reply_bytes:
            raise _CutOffError(Failure.TOO_LARGE)
        return not piece

    def _read_complaint(self) -> bool:
        piece = os.read(self._stderr.fileno(), _PIECE_BYTES)
        self._complaint += piece
        del self._complaint[:-MAX_COMPLAINT_BYTES]
        return not piece


# -- in the child


def serve(answer: Callable[[dict[str, Any]], Mapping[str, Any]]) -> None:
    """Answer requests until standard input is closed; what `answer` raises ends the child."""
    with _replies() as replies:
        for line in sys.stdin:
            print(json.dumps(answer(json.loads(line))), file=replies, flush=True)


def serve_at_once(
    answer: Callable[[dict[str, Any]], Mapping[str, Any]], most: int, end_s: float
) -> None:
    """Answer up to `most` requests at a time, each in a thread, until standard input is closed.

    A request has a `number`, which its reply repeats. Where `answer` raises, the reply is `failed`,
    the name of the error: the other requests go on. Where no thread can be started, the reply is
    `refused`, with the reason: `answer` has not been called, and another request may find one.

    end_s: what is under way then has this long to come to its end [s].
    """
    one_line, room = threading.Lock(), threading.Semaphore(most)
    with _replies() as replies:

        def reply(request: dict[str, Any], said: Mapping[str, Any]) -> None:
            line = json.dumps({**said, "number": request["number"]})
            with one_line, suppress(OSError):  # nobody listens any more
                print(line, file=replies, flush=True)
            room.release()

        def work(request: dict[str, Any]) -> None:
            try:
                said = answer(request)
            except Exception as error:
                said = {"failed": type(error).__name__}
            reply(request, said)

        with suppress(ValueError):  # who asks came to an end in the middle of a line
            for line in sys.stdin:
                request = json.loads(line)
                room.acquire()
                try:
                    threading.Thread(target=work, args=(request,), daemon=True).start()
                except RuntimeError as error:
                    reply(request, {"refused": str(error)})
        until = time.monotonic() + end_s
        for _ in range(most):
            room.acquire(timeout=max(until - time.monotonic(), 0.0))
    os._exit(0)  # an ordinary exit would wait for a thread that hangs


@contextmanager
def _replies() -> Iterator[IO[str]]:
    """Yield where replies are written. What else is printed, by a library for instance, goes
    nowhere: it must not look like a reply."""
    with os.fdopen(os.dup(sys.stdout.fileno()), "w") as replies:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
        yield replies
