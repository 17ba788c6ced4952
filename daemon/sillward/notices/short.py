"""A sheet for a phone: a title that says what by when, and one walk in at most 300 characters."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from sillward.notices import phrases
from sillward_rules.chore import Chore, ChoreKind
from sillward_rules.sheet import Round, Sheet
from sillward_rules.site import Site

MOST_CHARACTERS = 300
"""Title and body together; some phones cut near 500, servers at 4 KiB."""


@dataclass(frozen=True, slots=True)
class Message:
    """What a channel gets."""

    title: str
    body: str


Line = Callable[[int], str]
"""A line of the body, to be told with at most so many names."""


def _fixed(text: str) -> Line:
    return lambda _: text


def message(sheet: Sheet, site: Site) -> Message:
    """The sheet in at most 300 characters: names give way first, then the later lines."""
    title, lines = _TELLERS[sheet.round](sheet, site)
    lines = [*lines, *(_fixed(f"! {text}") for text in _warnings(sheet))]
    room = MOST_CHARACTERS - len(title) - 1
    for most in (8, 5, 3, 2, 1, 0):
        body = "\n".join(line(most) for line in lines)
        if len(body) <= room:
            return Message(title, body or "That is all.")
    return Message(title, _cut([line(0) for line in lines], room))


def _cut(lines: Sequence[str], room: int) -> str:
    """As many whole lines as there is room for, and how to read the rest."""
    kept: list[str] = []
    for index, line in enumerate(lines):
        rest = len(lines) - index - 1
        tail = f"\n+{rest} more: `sillward sheet`" if rest else ""
        if len("\n".join([*kept, line])) + len(tail) > room:
            break
        kept.append(line)
    rest = len(lines) - len(kept)
    tail = f"+{rest} more: `sillward sheet`" if rest else ""
    while kept and len("\n".join([*kept, tail])) > room:
        kept.pop()
        tail = f"+{len(lines) - len(kept)} more: `sillward sheet`"
    return "\n".join([*kept, tail]).strip()


def _warnings(sheet: Sheet) -> list[str]:
    """Every warning, and in one line what the spots leave open."""
    open_spots = sorted({text.split(":")[0] for text in sheet.assumptions})
    unknown = [f"defaults used for {', '.join(open_spots)}: `sillward check`"] if open_spots else []
    return [*sheet.warnings, *unknown]


def _dusk(sheet: Sheet, site: Site) -> tuple[str, list[Line]]:
    into = [chore for chore in sheet.chores if chore.kind is ChoreKind.CARRY_IN]
    lines = [_carry_in(chore, sheet, site) for chore in into]
    lines += [
        _stay(chore, sheet, site) for chore in sheet.chores if chore.kind is ChoreKind.STAY_IN
    ]
    lines += [
        _out(chore, sheet, site) for chore in sheet.chores if chore.kind is ChoreKind.CARRY_OUT
    ]
    if not into:
        return "Nothing to carry in tonight", [*lines, *_lows(sheet)]
    count = sum(len(chore.plants) for chore in into)
    by = phrases.clock(into[0].before, sheet.at, site)
    when = "now" if by == "now" else f"by {by}"
    return f"In {when}: {phrases.plants(count)}", lines


def _lows(sheet: Sheet) -> list[Line]:
    known = {name: low for name, low in sheet.lows.items() if low is not None}
    if not known:
        return []
    text = ", ".join(f"{name} {low:.1f} °C" for name, low in known.items())
    return [_fixed(f"Leaf low tonight: {text}")]


def _carry_in(chore: Chore, sheet: Sheet, site: Site) -> Line:
    reason = phrases.deciding(chore)
    when = phrases.clock(chore.before, sheet.at, site)
    if reason.value is None:
        why = "night not known, treated as cold"
    else:
        what = "leaf" if reason.quantity == "leaf temperature" else reason.quantity
        why = (
            f"{what} {phrases.number(reason)} at {phrases.hour(reason.at, site)}, "
            f"limit {phrases.limit(reason)}"
        )
    return lambda most: (
        f"{when} {chore.from_spot} > {chore.to_spot}: {_who(chore, sheet, most)}; {why}"
    )


def _who(chore: Chore, sheet: Sheet, most: int) -> str:
    standing = [name for name, state in sheet.states.items() if state.spot == chore.from_spot]
    return phrases.names(chore.plants, most, set(standing) <= set(chore.plants))


def _out(chore: Chore, sheet: Sheet, site: Site) -> Line:
    start = chore.not_before or chore.before
    when = phrases.clock(start, sheet.at, site)
    way = f"{chore.from_spot} > {chore.to_spot}"
    return lambda most: f"Out {_from(when)} {way}: {_who(chore, sheet, most)}"


def _from(when: str) -> str:
    return "now" if when == "now" else f"from {when}"


def _stay(chore: Chore, sheet: Sheet, site: Site) -> Line:
    tonight = chore.not_before is None
    when = "tonight" if tonight else _day_word(chore, sheet, site)
    reason = phrases.deciding(chore)
    why = "" if reason.value is None or tonight else f"; leaf at most {phrases.number(reason)}"
    return lambda most: f"Stay in {when}: {_who(chore, sheet, most)}{why}"


def _day_word(chore: Chore, sheet: Sheet, site: Site) -> str:
    today = site.local_date(chore.before) == site.local_date(sheet.at)
    return "today" if today else "tomorrow"


def _morning(sheet: Sheet, site: Site) -> tuple[str, list[Line]]:
    of = {kind: [c for c in sheet.chores if c.kind is kind] for kind in ChoreKind}
    out, mist = of[ChoreKind.CARRY_OUT], of[ChoreKind.MIST]
    heads = []
    if out:
        heads.append(
            f"Out {_from(phrases.clock(out[0].not_before or out[0].before, sheet.at, site))}"
        )
    if mist:
        heads.append(f"mist by {phrases.clock(mist[0].before, sheet.at, site)}")
    if not heads and of[ChoreKind.STAY_IN]:
        heads.append("all stay in today")
    title = ", ".join(heads) or "Nothing to carry or mist today"
    lines = [_out(chore, sheet, site) for chore in out]
    lines += [_mist(chore, sheet, site, of[ChoreKind.FEED]) for chore in mist]
    lines += [_stop(chore, sheet, site) for chore in of[ChoreKind.STOP_WETTING]]
    lines += [_stay(chore, sheet, site) for chore in of[ChoreKind.STAY_IN]]
    return title[0].upper() + title[1:], lines


def _mist(chore: Chore, sheet: Sheet, site: Site, feeds: Sequence[Chore]) -> Line:
    start = phrases.clock(chore.not_before or chore.before, sheet.at, site)
    window = f"{start}-{phrases.hour(chore.before, site)}"
    tail = mist_advice(chore, feeds)
    return lambda most: f"Mist {window} {chore.from_spot}: {_who(chore, sheet, most)}{tail}"


def mist_advice(chore: Chore, feeds: Sequence[Chore]) -> str:
    """What to mist with: feed and the time to its rinse, or plain water and why."""
    fed = next((feed for feed in feeds if overlaps(feed, chore)), None)
    reason = min(chore.because, key=lambda one: one.value if one.value is not None else 1e9)
    gone = "" if reason.value is None else f"gone in {reason.value:.0f} min"
    if fed is not None:
        rinse = min((one.value for one in fed.because if one.value is not None), default=None)
        within = "" if rinse is None else f" within {rinse:.0f} min"
        return f"; weak feed, rinse{within}" + (f"; later {gone}, salt stays" if gone else "")
    if (
        gone
        and reason.limit is not None
        and reason.value is not None
        and reason.value < reason.limit
    ):
        return f"; plain water, {gone}"
    return ""


def overlaps(feed: Chore, mist: Chore) -> bool:
    """Whether a feed is given in the window of a misting."""
    return (
        feed.from_spot == mist.from_spot
        and feed.before == mist.before
        and set(feed.plants) <= set(mist.plants)
    )


def _stop(chore: Chore, sheet: Sheet, site: Site) -> Line:
    if phrases.no_wetting(chore):
        return lambda most: f"Keep crowns dry today, {chore.from_spot}: {_who(chore, sheet, most)}"
    until = phrases.hour(chore.before, site)
    return lambda most: (
        f"No wet crowns after {until}, {chore.from_spot}: {_who(chore, sheet, most)}"
    )


def _week(sheet: Sheet, site: Site) -> tuple[str, list[Line]]:
    ahead = sheet.outlook
    if ahead is None or not ahead.nights:
        return "Week: no forecast that reaches", []
    cold = [night for night in ahead.nights if night.plants_in]
    title = (
        f"Week: {len(cold)} of {len(ahead.nights)} nights under a limit, {ahead.trips} trips"
        if cold
        else f"Week: no carrying in for {len(ahead.nights)} nights"
    )
    lows = []
    for night in ahead.nights:
        known = [low for low in night.lows.values() if low is not None]
        mark = f" ({len(night.plants_in)})" if night.plants_in else ""
        lows.append(f"{night.day:%a} {f'{min(known):.0f}°' if known else '?'}{mark}")
    lines = [_fixed("Leaf low (plants in): " + ", ".join(lows))]
    misted = [f"{day.day:%a} {day.mistings}" for day in ahead.days if day.mistings]
    if misted:
        lines.append(_fixed("Mistings: " + ", ".join(misted)))
    said = [*([ahead.turn] if ahead.turn else []), *ahead.spells]
    lines += [_fixed(text[0].upper() + text[1:]) for text in said]
    return title, lines


_TELLERS = {Round.DUSK: _dusk, Round.MORNING: _morning, Round.WEEK: _week}
