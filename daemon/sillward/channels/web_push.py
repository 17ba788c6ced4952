"""Web Push: messages to a browser, through the push service of its maker.

The service sees to whom a message goes and how long it is, but not what is in it: that is encrypted
for the browser (RFC 8291, by the library http-ece) and signed (RFC 8292).
"""

import json
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

import requests

from sillward.channels.apprise_sender import WIRE_S, clean
from sillward.channels.push_address import PushAddress, Subscription, is_public
from sillward.channels.push_identity import PushIdentity, from_base64, to_base64
from sillward.channels.wire_monitor import WireMonitor
from sillward.config.channel import Channel
from sillward.errors import DeliveryError
from sillward.net.deadline import MayDial
from sillward.wording.message_length import MAX_MESSAGE_BYTES, within_bytes
from sillward.wording.push import Links, Message

MAX_PLAIN_BYTES = 3_993
"""Of a message before it is encrypted. A push service must take 4096 octets (RFC 8030, section
7.2), of which header, delimiter and tag of its encryption take 103 (RFC 8291, section 4)."""

KEPT_BY_SERVICE = timedelta(hours=4)
"""How long a push service keeps a message for a phone that is off (RFC 8030, section 5.2).
Judgement: what is told at dusk is of no use in the morning."""

URGENCY = "high"
"""So that a phone at rest is woken (RFC 8030, section 5.3): every message has an hour in it, and
there are a few a day."""

SIGNED_FOR = timedelta(hours=12)
"""How long a signature holds; at most 24 hours (RFC 8292, section 2). Judgement: a machine whose
clock is some hours off can still send."""

GONE = (404, 410)
"""What a push service says of a subscription that has ended (RFC 8030, section 7.3)."""

UNABLE = "it needs SILLWARD_PAGE__URL with https, and `pip install '.[page,webpush]'`"
"""What keeps phones from being told, where nobody signs."""

MAX_BUTTONS = 2
"""Of a notification. Judgement: what the usual browsers show."""


def _utc_now() -> datetime:
    return datetime.now(UTC)


def send(
    channel: Channel,
    message: Message,
    *,
    may_dial: MayDial = is_public,
    clock: Callable[[], datetime] = _utc_now,
) -> None:
    """Send one message. Raise DeliveryError unless the push service took it."""
    address = None if channel.url is None else PushAddress.of_url(channel.url)
    if address is None:
        msg = f"channel {channel.name}: {UNABLE}"
        raise DeliveryError(msg)
    to = address.to
    headers = {
        "Authorization": authorization(address.by, to.origin, clock() + SIGNED_FOR),
        "Content-Encoding": "aes128gcm",
        "Content-Type": "application/octet-stream",
        "TTL": str(int(KEPT_BY_SERVICE.total_seconds())),
        "Urgency": URGENCY,
    }
    body = _encrypted_for(channel, to, payload(clean(message)))
    with WireMonitor(channel.name, WIRE_S, may_dial) as wire:
        try:
            response = requests.post(
                to.endpoint, body, headers=headers, allow_redirects=False, timeout=WIRE_S
            )
        except requests.RequestException:
            response = None
    if response is not None and response.ok and wire.status is None and not wire.page:
        return
    gone = response is not None and response.status_code in GONE
    why = "its browser no longer takes messages" if gone else wire.why(perhaps_sent=wire.unanswered)
    msg = f"channel {channel.name}: {why}"
    raise DeliveryError(msg, perhaps_sent=wire.unanswered, wait=wire.wait, gone=gone)


def _encrypted_for(channel: Channel, to: Subscription, plain: bytes) -> bytes:
    """Raise DeliveryError if the keys of the browser are none."""
    try:
        return encrypted(plain, to)
    except ValueError:
        msg = f"channel {channel.name}: the keys that its browser gave cannot be used"
        raise DeliveryError(msg) from None


# -- what is sent


def payload(message: Message) -> bytes:
    """Return a message as the service worker of the page takes it: JSON, cut to what goes into one
    push."""
    links = message.links
    room = MAX_MESSAGE_BYTES
    while len(made := _packed(message, links, room)) > MAX_PLAIN_BYTES:
        room -= len(made) - MAX_PLAIN_BYTES
        if room <= 0:  # addresses that are longer than all words
            links, room = None, MAX_MESSAGE_BYTES
    return made


def _packed(message: Message, links: Links | None, room: int) -> bytes:
    title, body = within_bytes(message.title, message.body, room, linked=links is not None)
    packed: dict[str, Any] = {"title": title, "body": body}
    if links is not None:
        packed["url"] = links.address
        packed["buttons"] = [
            {"text": button.text, "url": button.address, "acts": button.acts}
            for button in links.buttons[:MAX_BUTTONS]
        ]
    return json.dumps(packed, ensure_ascii=False).encode("utf-8", "replace")


def encrypted(
    plain: bytes, to: Subscription, *, salt: bytes | None = None, key: Any = None
) -> bytes:
    """Return a message that only the browser can read (RFC 8291). Raise ValueError for a point that
    is not on the curve.

    salt, key: chosen by chance, as they must be; given by tests.
    """
    import http_ece
    from cryptography.hazmat.primitives.asymmetric import ec

    made: bytes = http_ece.encrypt(
        plain,
        salt=salt,
        private_key=key or ec.generate_private_key(ec.SECP256R1()),
        dh=from_base64(to.p256dh),
        auth_secret=from_base64(to.auth),
        version="aes128gcm",
    )
    return made


def authorization(by: PushIdentity, service: str, until: datetime) -> str:
    """Return the header by which a push service knows who sends (RFC 8292): a JSON web token that
    is signed with ECDSA on P-256 (RFC 7515, appendix A.3).

    service: its origin.
    """
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.hazmat.primitives.asymmetric.utils import decode_dss_signature

    claims = {"aud": service, "exp": int(until.timestamp()), "sub": by.subject}
    parts = ({"typ": "JWT", "alg": "ES256"}, claims)
    signed = b".".join(
        to_base64(json.dumps(part, separators=(",", ":")).encode()) for part in parts
    )
    key = ec.derive_private_key(int.from_bytes(from_base64(by.private)), ec.SECP256R1())
    numbers = decode_dss_signature(key.sign(signed, ec.ECDSA(hashes.SHA256())))
    signature = to_base64(b"".join(number.to_bytes(32) for number in numbers))
    return f"vapid t={signed.decode()}.{signature.decode()}, k={by.public}"
