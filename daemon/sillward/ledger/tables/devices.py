"""Devices: phones and other browsers that are told by Web Push, each a channel of its own."""

from dataclasses import dataclass
from datetime import datetime

from sillward.ledger.database import Database, Row
from sillward.ledger.records import maybe_moment, to_moment, to_text
from sillward.ledger.tables.row_reader import RowReader


@dataclass(frozen=True, slots=True)
class Device:
    """A browser that asked to be told.

    - name: of its channel, such as "phone of Inés".
    - person: whose it is, if that is known.
    - endpoint, p256dh, auth: where messages to it go, and with what they are encrypted (Push API).
      Who has them can send to it.
    - gone_at: when its push service said that it takes no more; None while it does.
    """

    name: str
    person: str | None
    endpoint: str
    p256dh: str
    auth: str
    added_at: datetime
    gone_at: datetime | None = None


class DeviceTable:
    """The devices of each site, by name."""

    def __init__(self, database: Database) -> None:
        self._database = database
        self._reader = RowReader(_device_of, "device", "name")

    def write(self, site: str, device: Device) -> None:
        """Write a device, in the place of one of that name."""
        with self._database.transaction():
            self.remove(site, device.name)
            self._database.insert(
                "device",
                {
                    "site": site,
                    "name": device.name,
                    "person": device.person,
                    "endpoint": device.endpoint,
                    "p256dh": device.p256dh,
                    "auth": device.auth,
                    "added_at": to_text(device.added_at),
                },
            )

    def of_site(self, site: str) -> list[Device]:
        """Return the devices of a site, also those that are gone."""
        rows = self._database.rows("SELECT * FROM device WHERE site = ? ORDER BY name", site)
        return self._reader.readable(rows)

    def mark_gone(self, site: str, endpoint: str, at: datetime) -> bool:
        """Note that nothing can be sent to an endpoint any more; False if no device has it.

        The name of a device may be that of another one meanwhile.
        """
        marked = self._database.execute(
            "UPDATE device SET gone_at = ? WHERE site = ? AND endpoint = ?",
            to_text(at),
            site,
            endpoint,
        )
        return marked > 0

    def remove(self, site: str, name: str) -> None:
        """Forget a device."""
        self._database.execute("DELETE FROM device WHERE site = ? AND name = ?", site, name)


def _device_of(row: Row) -> Device:
    return Device(
        name=row["name"],
        person=row["person"],
        endpoint=row["endpoint"],
        p256dh=row["p256dh"],
        auth=row["auth"],
        added_at=to_moment(row["added_at"]),
        gone_at=maybe_moment(row["gone_at"]),
    )
