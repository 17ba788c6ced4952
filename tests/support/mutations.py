"""Bodies with anything changed in them, for tests of readers that must survive any answer."""

from collections.abc import Iterator
from typing import Any

from hypothesis import strategies as st

GONE = object()


def places_of(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The path of every value in a document."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from places_of(inner, (*at, key))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from places_of(inner, (*at, index))
    if at:
        yield at


def changed_anywhere(data: st.DataObject, made: Any, *likely: object) -> Any:
    """The document with up to four of its values exchanged or gone.

    likely: values that look right to a careless reader.
    """
    junk = st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**30), 10**30),
        st.floats(),
        st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
        st.just([]),
        st.just({}),
        st.lists(st.none() | st.floats(), max_size=4),
        st.sampled_from(likely),
        st.just(GONE),
    )
    for _ in range(data.draw(st.integers(1, 4))):
        *path, last = data.draw(st.sampled_from(list(places_of(made))))
        new = data.draw(junk)
        holder = made
        for key in path:
            holder = holder[key]
        if new is GONE:
            del holder[last]
        else:
            holder[last] = new
    return made
