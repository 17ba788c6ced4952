"""Plants by name, those of the collection and those of which only a diary is left."""

from collections.abc import Sequence

from sillward.assembly.app import App
from sillward.config.validation import did_you_mean
from sillward.errors import UsageError, one_line
from sillward.ledger import Ledger


def names_with_past(app: App, ledger: Ledger) -> list[str]:
    """Return the names of all plants, and of those of which only a diary is left."""
    names = [plant.name for plant in app.household.collection.plants]
    return list(dict.fromkeys([*names, *ledger.diary.counts(app.site.name)]))


def names_like(names: Sequence[str], text: str) -> list[str]:
    """Return the name that is this text, or those that contain it."""
    if text in names:
        return [text]
    wanted = " ".join(text.lower().split())
    return [name for name in names if wanted and wanted in " ".join(name.lower().split())]


def one_name(names: Sequence[str], text: str) -> str:
    """Return the name that is this text, or the only one that contains it. Raise UsageError."""
    found = names_like(names, text)
    if len(found) == 1:
        return found[0]
    known = ", ".join(one_line(name, 60) for name in found or names)
    what = "more than one plant" if found else "not a plant"
    near = "" if found else did_you_mean(text, names)
    msg = f'"{one_line(text, 60)}" is {what} here ({known}){near}'
    raise UsageError(msg)
