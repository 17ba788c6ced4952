"""What systemd is told of this process: sd_notify(3) in a few lines. Without systemd, nothing.

The process is told where to say it, and how often it must show that it lives, by three variables;
they are taken out of the environment, so that no child can speak in our name.
"""

import logging
import os
import socket
from collections.abc import MutableMapping
from dataclasses import dataclass

log = logging.getLogger(__name__)


@dataclass(slots=True)
class Manager:
    """The service manager that started this process, if one did."""

    address: str = ""
    """Its socket: a path, or `@` and an abstract name; empty for none."""
    watchdog_s: float | None = None
    """It ends this process unless WATCHDOG=1 comes at least so often [s]; None for no watchdog."""
    _complained: bool = False

    def notify(self, *lines: str) -> None:
        """Tell it these assignments, such as "READY=1". Never raises and never waits."""
        if not self.address.startswith(("/", "@")):
            return
        text = "\n".join(" ".join(line.split()) for line in lines)
        address = os.fsencode(self.address)
        if address.startswith(b"@"):
            address = b"\0" + address[1:]
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as caller:
                caller.setblocking(False)  # who feeds the watchdog must not hang in it
                caller.sendto(text.encode("utf-8", "replace"), address)
        except (OSError, ValueError) as error:
            if not self._complained:  # once: it would come every few seconds
                log.warning("systemd.not_told reason=%s", error)
            self._complained = True


def manager(environment: MutableMapping[str, str] = os.environ) -> Manager:
    """Read who started this process, and take it out of the environment."""
    address = environment.pop("NOTIFY_SOCKET", "")
    period, pid = environment.pop("WATCHDOG_USEC", ""), environment.pop("WATCHDOG_PID", "")
    try:
        period_s = int(period) / 1e6
        ours = not pid or int(pid) == os.getpid()
    except (ValueError, OverflowError):
        return Manager(address)
    return Manager(address, period_s if ours and period_s > 0 else None)
