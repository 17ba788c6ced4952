"""Where the page of each household is."""

import re

from sillward.links.site_paths import site_paths


def test_a_single_household_is_at_the_top() -> None:
    assert site_paths(["Courtyard"]) == {"Courtyard": ""}


def test_several_are_below_paths_made_of_their_names() -> None:
    paths = site_paths(["Courtyard", "Añil & Co. (patio)", "Balcony"])

    assert list(paths.values()) == ["/courtyard", "/anil-co-patio", "/balcony"]


def test_names_that_would_share_a_path_have_different_ones_in_any_order() -> None:
    names = ["Patio", "patio!", "庭", "畑", "Assets", "T", "x" * 90, "x" * 91, "../..", "a/b?c#d"]

    paths = site_paths(names)

    assert len(set(paths.values())) == len(names)
    assert paths == site_paths(names[::-1])
    assert all(re.fullmatch(r"/[a-z0-9-]{1,60}", path) for path in paths.values())
    assert {"/assets", "/t"}.isdisjoint(paths.values())
