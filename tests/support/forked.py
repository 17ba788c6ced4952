"""Processes that are `sillward` with some words, without the time that its imports take.

A process that has imported all of it, the mother, becomes one by a fork; from there on all is as in
any start, which nine tenths of the processor time would else go into. That a start from the
beginning works as well is for the tests of what is imported, of the footprint and of screens.
"""

import atexit
import json
import os
import socket
import subprocess
import sys
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

_MOTHER = """
import json, os, signal, socket, sys
from sillward.cli import done, main, run, send, sheet, status, stopped

asked = socket.socket(fileno=int(sys.argv[1]))
signal.signal(signal.SIGINT, signal.SIG_IGN)
while True:
    text, files, _, _ = socket.recv_fds(asked, 1 << 20, 2)
    if not text:
        break
    question = json.loads(text)
    if isinstance(question, int):
        ended, status_ = os.waitpid(question, os.WNOHANG)
        answer = os.waitstatus_to_exitcode(status_) if ended else None
    else:
        words, folder, environment = question
        answer = os.fork()
        if not answer:
            asked.close()
            signal.signal(signal.SIGINT, signal.default_int_handler)
            for file, number in zip(files, (1, 2)):
                os.dup2(file, number)
                os.close(file)
            os.chdir(folder)
            os.environ.clear()
            os.environ.update(environment)
            main(words, prog_name="sillward")
    for file in files:
        os.close(file)
    asked.send(json.dumps(answer).encode())
"""

LONGEST_S = 60.0
"""No process of a test runs longer."""


@dataclass
class Forked:
    """A process, with what tests use of `subprocess.Popen`."""

    pid: int
    mother: "Mother"
    returncode: int | None = None

    def poll(self) -> int | None:
        """Return how it ended; None while it runs."""
        if self.returncode is None:
            self.returncode = self.mother.ask(self.pid)
        return self.returncode

    def wait(self, timeout: float | None = None) -> int:
        """Return how it ended. Raise subprocess.TimeoutExpired if it does not within so long."""
        seconds = LONGEST_S if timeout is None else timeout
        pause = threading.Event()
        for _ in range(int(seconds / 0.01)):
            if (code := self.poll()) is not None:
                return code
            pause.wait(0.01)
        command = f"sillward, process {self.pid}"
        raise subprocess.TimeoutExpired(command, seconds)

    def send_signal(self, number: int) -> None:
        """Send it, unless the process has ended."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """Kill it."""
        self.send_signal(9)


@dataclass
class Mother:
    """A process that becomes others, one question at a time."""

    ours: socket.socket = field(init=False)
    process: subprocess.Popen[bytes] = field(init=False)

    def __post_init__(self) -> None:
        self.ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        with theirs:
            number = theirs.fileno()
            words = [sys.executable, "-c", _MOTHER, str(number)]
            self.process = subprocess.Popen(words, pass_fds=[number], stdout=subprocess.DEVNULL)

    def fork(
        self, *words: str, cwd: Path, env: Mapping[str, str], stdout: int, stderr: int
    ) -> Forked:
        """Start `sillward` with words in a folder; it writes to these file descriptors."""
        question = json.dumps([words, str(cwd), dict(env)]).encode()
        socket.send_fds(self.ours, [question], [stdout, stderr])
        pid = json.loads(self.ours.recv(1 << 10))
        assert isinstance(pid, int)
        return Forked(pid, self)

    def ask(self, pid: int) -> int | None:
        """Return how a process ended; None while it runs."""
        self.ours.send(json.dumps(pid).encode())
        code: int | None = json.loads(self.ours.recv(1 << 10))
        return code

    def close(self) -> None:
        """End it."""
        self.ours.close()
        self.process.wait(10)


@cache
def mother() -> Mother:
    """Return the one of this process."""
    made = Mother()
    atexit.register(made.close)
    return made
