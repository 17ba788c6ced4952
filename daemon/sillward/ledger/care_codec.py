"""The care of a plant as text in the ledger: `decode(encode(care)) == care`."""

from functools import cache

from pydantic import TypeAdapter

from sillward_rules.plants.care import NO_CARE, Care


def encode(care: Care) -> str:
    """Return the care of a plant as text; what is as by default is left out."""
    return _adapter().dump_json(care, exclude_defaults=True).decode()


def decode(text: str | None) -> Care:
    """Return the care of a text; that of a plant of which nothing is known for None.

    Raise ValueError for any other text.
    """
    return NO_CARE if text is None else _adapter().validate_json(text)


@cache
def _adapter() -> TypeAdapter[Care]:
    return TypeAdapter(Care)
