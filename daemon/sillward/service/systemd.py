"""Reports of this process to systemd, as sd_notify(3) makes them; without systemd, none.

Three variables say where to send it, and how often the process must show that it lives. They are
taken out of the environment, so that no child process can report for this one.
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
    """It ends this process unless WATCHDOG=1 comes within this time [s]; None for no watchdog."""
    _complained: bool = False

    def notify(self, *lines: str) -> None:
        """Send it these assignments, such as "READY=1". Never raise and never wait."""
        if not self.address.startswith(("/", "@")):
            return
        text = "\n".join(" ".join(line.split()) for line in lines)
        address = os.fsencode(self.address)
        if address.startswith(b"@"):
            address = b"\0" + address[1:]
        try:
            with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as caller:
                caller.setblocking(False)  # the thread that feeds the watchdog must not hang
                caller.sendto(text.encode("utf-8", "replace"), address)
        except (OSError, ValueError) as error:
            if not self._complained:  # only once, since it would come every few seconds
                log.warning("systemd.not_told reason=%s", error)
            self._complained = True


def claim_manager(environment: MutableMapping[str, str] = os.environ) -> Manager:
    """Return the service manager that started this process.

    Its variables are removed from the environment, by default that of this process.
    """
    address = environment.pop("NOTIFY_SOCKET", "")
    period, pid = environment.pop("WATCHDOG_USEC", ""), environment.pop("WATCHDOG_PID", "")
    try:
        period_s = int(period) / 1e6
        ours = not pid or int(pid) == os.getpid()
    except (ValueError, OverflowError):
        return Manager(address)
    return Manager(address, period_s if ours and period_s > 0 else None)
