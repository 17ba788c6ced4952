"""A brake on guessing: whoever was wrong too often has to wait, longer each time.

Times are in seconds of a clock that never goes back. What is remembered is bounded.
"""

import ipaddress
import threading
from collections import OrderedDict, deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

FREE_TRIES = 5
"""Wrong tries without a wait. Judgement: a person mistypes on a phone, in the dark."""

FIRST_WAIT_S = 15.0
"""The wait after those; it doubles with each further one. Judgement."""

FORGET_S = 3600.0
"""After so long without a try all is forgiven. Judgement."""

MAX_KEYS = 1000
"""Names and addresses that are remembered, the latest ones. Judgement: some 200 kB."""

MAX_TRIES, PER_S = 30, 60.0
"""Tries of all together within that time. Judgement: a hash takes a quarter of a second, so a flood
of guesses from many addresses takes an eighth of one core at most."""


@dataclass(frozen=True, slots=True)
class Key:
    """What is braked, and the longest that it ever has to wait [s]."""

    text: str
    max_wait_s: float


def of_name(name: str) -> Key:
    """Return the key of a person. Judgement: a minute is a try a minute for who guesses, and no
    more than a minute for the person whom a stranger means to lock out."""
    return Key(f"name {name[:80]}", 60.0)


def of_address(address: str) -> Key:
    """Return the key of who asks; IPv6 counts by the network of 64 bits that a household has."""
    try:
        known = ipaddress.ip_address(address)
    except ValueError:
        return Key("address", 900.0)
    if isinstance(known, ipaddress.IPv6Address):
        network = ipaddress.ip_network((known, 64), strict=False)
        return Key(f"address {network.network_address}", 900.0)
    return Key(f"address {known}", 900.0)


@dataclass(slots=True)
class Throttle:
    """Counts tries, by key and in all. It is called by several threads at once."""

    clock: Callable[[], float]
    _tries: "OrderedDict[str, tuple[int, float]]" = field(default_factory=OrderedDict, init=False)
    """For each key how often it was tried in a row, and when last; the latest are at the end."""
    _all: deque[float] = field(default_factory=lambda: deque(maxlen=MAX_TRIES), init=False)
    _lock: threading.Lock = field(default_factory=threading.Lock, init=False)

    def wait_s(self, keys: Sequence[Key]) -> float:
        """Count a try. Return 0 if it is free to go on, else how long to wait; then it does not
        count."""
        now = self.clock()
        with self._lock:
            wait = max(self._wait_of(key, now) for key in keys)
            if len(self._all) == MAX_TRIES:
                wait = max(wait, self._all[0] + PER_S - now)
            if wait > 0:
                return wait
            self._all.append(now)
            for key in keys:
                count, _ = self._tries.pop(key.text, (0, now))
                self._tries[key.text] = (count + 1, now)
            while len(self._tries) > MAX_KEYS:
                self._tries.popitem(last=False)
        return 0.0

    def forgive(self, keys: Sequence[Key]) -> None:
        """Forget the tries of these keys: the last one was right."""
        with self._lock:
            for key in keys:
                self._tries.pop(key.text, None)

    def _wait_of(self, key: Key, now: float) -> float:
        count, last = self._tries.get(key.text, (0, now))
        if now - last > FORGET_S:
            del self._tries[key.text]
            return 0.0
        if count < FREE_TRIES:
            return 0.0
        wait = min(FIRST_WAIT_S * 2.0 ** min(count - FREE_TRIES, 20), key.max_wait_s)
        return last + wait - now
