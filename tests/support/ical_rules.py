"""RFC 5545 written again as a strict reader, as far as a calendar of events needs it (from memory).

It shares no code with the library that writes the file, and accepts nothing that a calendar service
could refuse: some of them drop a whole calendar for one wrong line.
"""

import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime

MAX_OCTETS = 75  # section 3.1, without the line break

LINE = re.compile(r'([A-Z][A-Z0-9-]*)((?:;[A-Z-]+=(?:"[^"]*"|[^";:,]*))*):(.*)', re.DOTALL)
TEXT = re.compile(r"(?:[^\\;,]|\\[\\;,nN])*")  # section 3.3.11
UTC_TIME = re.compile(r"\d{8}T\d{6}Z")  # section 3.3.5, form 2

FORBIDDEN = re.compile(r"[\x00-\x08\x0a-\x1f\x7f-\x9f\u2028\u2029]")
"""Control characters (section 3.1), and what some readers take for one or for the end of a line."""

TEXTS = (
    "UID", "SUMMARY", "DESCRIPTION", "LOCATION", "NAME", "X-WR-CALNAME", "X-WR-CALDESC",
    "CATEGORIES",
)  # fmt: skip
ONCE_IN_EVENT = (
    "UID", "DTSTAMP", "DTSTART", "DTEND", "SEQUENCE", "LAST-MODIFIED", "SUMMARY", "DESCRIPTION",
    "STATUS", "CLASS", "TRANSP", "CATEGORIES",
)  # fmt: skip
"""Properties that the standard requires or allows once, and that are always written."""
ONCE_IN_CALENDAR = (
    "VERSION", "PRODID", "METHOD", "NAME", "X-WR-CALNAME", "DESCRIPTION", "X-WR-CALDESC",
    "REFRESH-INTERVAL", "X-PUBLISHED-TTL",
)  # fmt: skip


@dataclass
class Component:
    """Everything between a BEGIN and its END."""

    name: str
    properties: dict[str, list[tuple[str, str]]] = field(default_factory=dict)
    """(parameters, value) by name, the value as it is written."""
    parts: list["Component"] = field(default_factory=list)

    def raw(self, name: str) -> str:
        """Return the only value of a property, as it is written."""
        ((_, value),) = self.properties[name]
        return value

    def text(self, name: str) -> str:
        """Return a text with its escapes undone."""
        plain = {"n": "\n", "N": "\n"}
        return re.sub(r"\\(.)", lambda match: plain.get(match[1], match[1]), self.raw(name))

    def time(self, name: str) -> datetime | date:
        """Return the only value of a property as a date or a UTC moment."""
        ((parameters, value),) = self.properties[name]
        if parameters == ";VALUE=DATE":
            assert re.fullmatch(r"\d{8}", value), value
            return date(int(value[:4]), int(value[4:6]), int(value[6:]))
        assert parameters in ("", ";VALUE=DATE-TIME"), parameters
        assert UTC_TIME.fullmatch(value), value
        return datetime.strptime(value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)

    def moment(self, name: str) -> datetime:
        """Return the only value of a property as a UTC moment."""
        at = self.time(name)
        assert isinstance(at, datetime)
        return at


def events_in(data: bytes) -> list[Component]:
    """Return the events of a calendar, after checking every rule."""
    calendar = read(data)
    assert set(calendar.properties) == set(ONCE_IN_CALENDAR)
    assert list(calendar.properties)[:2] == ["VERSION", "PRODID"]
    assert calendar.raw("VERSION") == "2.0"
    assert calendar.raw("METHOD") == "PUBLISH"
    assert calendar.properties["REFRESH-INTERVAL"] == [(";VALUE=DURATION", "PT1H")]
    assert calendar.raw("X-PUBLISHED-TTL") == "PT1H"
    for event in calendar.parts:
        _check(event)
    uids = [event.raw("UID") for event in calendar.parts]
    assert len(set(uids)) == len(uids)
    return calendar.parts


def _check(event: Component) -> None:
    assert event.name == "VEVENT"
    assert event.parts == []  # no alarm
    assert set(event.properties) - {"LOCATION", "URL"} == set(ONCE_IN_EVENT)
    for parameters, address in event.properties.get("URL", []):  # section 3.8.4.6
        assert parameters in ("", ";VALUE=URI"), parameters
        assert re.fullmatch(r"https?://[^\s\\]+", address), address
    start, end = event.time("DTSTART"), event.time("DTEND")
    assert type(start) is type(end)
    assert start < end
    event.moment("DTSTAMP"), event.moment("LAST-MODIFIED")
    assert re.fullmatch(r"\d{1,10}", event.raw("SEQUENCE"))
    assert int(event.raw("SEQUENCE")) < 2**31
    assert event.raw("STATUS") in ("TENTATIVE", "CONFIRMED", "CANCELLED")
    assert event.raw("CLASS") == "PRIVATE"
    assert event.raw("TRANSP") == "TRANSPARENT"
    assert re.fullmatch(r"[0-9a-f-]{36}", event.raw("UID"))


def read(data: bytes) -> Component:
    """Return the calendar of a file."""
    lines = _unfolded(data)
    top = Component("")
    stack = [top]
    for line in lines:
        match = LINE.fullmatch(line)
        assert match, line
        name, parameters, value = match[1], match[2], match[3]
        if name == "BEGIN":
            stack[-1].parts.append(Component(value))
            stack.append(stack[-1].parts[-1])
        elif name == "END":
            assert stack.pop().name == value
        else:
            assert len(stack) > 1, line
            if name in TEXTS:
                assert TEXT.fullmatch(value), line
            stack[-1].properties.setdefault(name, []).append((parameters, value))
    assert stack == [top]
    (calendar,) = top.parts
    assert calendar.name == "VCALENDAR"
    for component in (calendar, *calendar.parts):
        assert all(len(values) == 1 for values in component.properties.values())
    return calendar


def _unfolded(data: bytes) -> list[str]:
    assert data.endswith(b"\r\n")
    lines: list[str] = []
    for octets in data[:-2].split(b"\r\n"):
        assert 0 < len(octets) <= MAX_OCTETS, octets
        line = octets.decode()  # a fold within a character would be allowed, but is hard to read
        assert not FORBIDDEN.search(line), octets
        if line.startswith((" ", "\t")):
            lines[-1] += line[1:]
        else:
            lines.append(line)
    return lines
