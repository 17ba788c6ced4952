"""A real broker on loopback: Mosquitto, started by the tests, with what they ask for.

It is looked for on the PATH and where Debian puts it. The variable MOSQUITTO may name a folder into
which the Debian packages were unpacked instead: `mosquitto` with the libraries that it needs.
"""

import base64
import hashlib
import os
import pwd
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import paho.mqtt.publish
from paho.mqtt.enums import MQTTProtocolVersion

from sillward.config.household import Broker
from tests.support.mailbox import free_port

_FOLDER = os.environ.get("MOSQUITTO")
_PATH = os.pathsep.join([os.environ.get("PATH", ""), "/usr/sbin", "/usr/local/sbin"])

PROGRAM = (
    shutil.which("mosquitto", path=_PATH) if _FOLDER is None else f"{_FOLDER}/usr/sbin/mosquitto"
)
MISSING = "there is no mosquitto: install it (Debian's package of this name), or set MOSQUITTO"

_ATTEMPTS = 5
"""Another program may take the port first."""

USER, PASSWORD = "sillward", "Zq7-kept-secret"


@dataclass
class Mosquitto:
    """A broker that runs."""

    port: int
    process: "subprocess.Popen[str]"

    @property
    def address(self) -> Broker:
        return Broker("127.0.0.1", self.port)

    def publish(
        self, topic: str, message: str | bytes, *, kept: bool = False, user: str | None = None
    ) -> None:
        """Send a message, and return once the broker has it."""
        paho.mqtt.publish.single(
            topic,
            message,
            qos=1,
            retain=kept,
            hostname="127.0.0.1",
            port=self.port,
            auth=None if user is None else {"username": user, "password": PASSWORD},
            protocol=MQTTProtocolVersion.MQTTv311,
        )

    def stop(self) -> None:
        """End it; once more does no harm."""
        with self.process:  # which closes its pipe, and waits
            self.process.terminate()


@contextmanager
def a_mosquitto(folder: Path, *settings: str, port: int | None = None) -> Iterator[Mosquitto]:
    """Run a broker on loopback, with these lines of configuration for its listener."""
    for _ in range(_ATTEMPTS):
        broker = _started(folder, settings, port or free_port())
        if broker is not None:
            break
    else:
        msg = "mosquitto did not start"
        raise RuntimeError(msg)
    try:
        yield broker
    finally:
        broker.stop()


def _started(folder: Path, settings: tuple[str, ...], port: int) -> Mosquitto | None:
    assert PROGRAM is not None
    open_to_all = [] if any("password_file" in line for line in settings) else ["true"]
    lines = [
        f"user {pwd.getpwuid(os.getuid()).pw_name}",
        "log_dest stderr",
        "persistence false",
        f"listener {port} 127.0.0.1",
        f"allow_anonymous {'true' if open_to_all else 'false'}",
        *settings,
    ]
    configuration = folder / f"mosquitto-{port}.conf"
    configuration.write_text("\n".join(lines) + "\n", encoding="utf-8")
    libraries = "" if _FOLDER is None else ":".join(map(str, Path(_FOLDER).glob("usr/lib/*")))
    process = subprocess.Popen(
        [PROGRAM, "-c", str(configuration)],
        env=os.environ | ({"LD_LIBRARY_PATH": libraries} if libraries else {}),
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    for line in process.stderr:
        if line.rstrip().endswith("running"):
            return Mosquitto(port, process)
    process.communicate()
    return None


def password_file(folder: Path, user: str = USER, password: str = PASSWORD) -> Path:
    """A file as `mosquitto_passwd` makes it: PBKDF2 with SHA-512, 101 rounds."""
    salt = b"twelve bytes"
    key = hashlib.pbkdf2_hmac("sha512", password.encode(), salt, 101)
    path = folder / "passwords"
    fields = ["", "7", "101", *(base64.b64encode(part).decode() for part in (salt, key))]
    path.write_text(f"{user}:{'$'.join(fields)}\n", encoding="utf-8")
    path.chmod(0o600)
    return path
