"""What was noted of a plant, in a few words: "3 flowers opened", "damage: spots, some"."""

from sillward.ledger.tables.diary import DiaryEntry, EntryKind

_COUNTED = {
    EntryKind.ROOT: ("a new root", "{} new roots", "new roots"),
    EntryKind.GROWTH: ("a new growth", "{} new growths", "new growth"),
    EntryKind.SPIKE: ("a spike", "{} spikes", "a spike"),
    EntryKind.FLOWER: ("a flower opened", "{} flowers opened", "flowers opened"),
}
"""What is counted: one, several, and where no count was given."""

NAMES = {
    EntryKind.OBSERVATION: "a note",
    EntryKind.DAMAGE: "damage",
    EntryKind.ROOT: "new roots",
    EntryKind.GROWTH: "new growth",
    EntryKind.SPIKE: "a flower spike",
    EntryKind.FLOWER: "flowers opened",
    EntryKind.FADED: "flowers over",
    EntryKind.REPOTTED: "repotted",
}
"""What a grower can note, in the order in which a form offers it."""


EVENTS = frozenset(NAMES) - {EntryKind.OBSERVATION}
"""What is told of a week: more than a text."""

HEADS = NAMES | {
    EntryKind.OBSERVATION: "notes",
    EntryKind.SPIKE: "spikes",
    EntryKind.PHOTO: "photos",
    EntryKind.MOVE: "moves",
    EntryKind.LOOK: "looks",
}
"""What entries of a kind are called, all of them together."""


def seen(entry: DiaryEntry) -> str:
    """Return what an entry is without its text; empty for an observation, which is its text."""
    what, amount = entry.what or "", entry.amount or ""
    match entry.kind:
        case EntryKind.OBSERVATION:
            return ""
        case EntryKind.MOVE:
            return f"moved to {entry.text}"
        case EntryKind.LOOK:
            return f"{what} looked at: {amount}" if what else f"looked at: {amount}"
        case EntryKind.DAMAGE | EntryKind.REPOTTED:
            of = ", ".join(part for part in (what, amount) if part)
            return f"{entry.kind.value}: {of}" if of else entry.kind.value
        case EntryKind.ROOT | EntryKind.GROWTH | EntryKind.SPIKE | EntryKind.FLOWER:
            one, several, plain = _COUNTED[entry.kind]
            if entry.count is None:
                return f"{plain}: {amount}" if amount else plain
            return one if entry.count == 1 else several.format(entry.count)
        case EntryKind.FADED:
            return NAMES[EntryKind.FADED]
        case _:
            return entry.kind.value


def told(entry: DiaryEntry, most: int = 0) -> str:
    """Return what an entry is, with its text on the same line.

    most: characters of the text; 0 for all.
    """
    text = " ".join(entry.text.split())
    if most and len(text) > most:
        text = text[: most - 1].rstrip() + "…"
    words = seen(entry)
    if entry.kind is EntryKind.MOVE:
        return words
    return with_text(words, text)


def with_text(words: str, text: str) -> str:
    """Return both on a line: "damage: spots; on the old leaves", "a spike: thin"."""
    if not (words and text):
        return words or text
    return f"{words}; {text}" if ": " in words else f"{words}: {text}"
