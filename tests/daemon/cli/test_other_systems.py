"""Where Python has not what Linux and macOS have, every command says so in a line."""

import subprocess
import sys

from sillward.cli import NOT_HERE

ON_WINDOWS = """
import os, signal, socket, sys

for name in ("fcntl", "grp", "posix", "pty", "pwd", "resource", "syslog", "termios", "tty"):
    sys.modules[name] = None
for module, names in (
    (os, ("O_CLOEXEC", "O_NOCTTY", "O_NOFOLLOW", "O_NONBLOCK", "fchmod", "fork", "geteuid")),
    (signal, ("SIGHUP", "SIGKILL")),
    (socket, ("AF_UNIX",)),
):
    for name in names:
        delattr(module, name)

from sillward.cli import COMMANDS, main

for words in ([], ["--help"], ["--version"], *([name] for name in COMMANDS), ["demo", "--help"]):
    try:
        main(words, prog_name="sillward")
    except SystemExit as end:
        print(end.code)
"""


def test_on_windows_every_call_ends_with_one_line_and_exit_status_1() -> None:
    result = subprocess.run(
        [sys.executable, "-c", ON_WINDOWS], capture_output=True, text=True, check=False
    )

    calls = result.stdout.split()
    assert len(calls) > 30
    assert set(calls) == {"1"}
    assert result.stderr == f"sillward: {NOT_HERE}\n" * len(calls)
    assert result.returncode == 0
