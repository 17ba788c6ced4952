"""The shipped groups are read one by one, and are what the whole file says."""

import pytest

from sillward_rules.plants.groups import parse_groups, standard_groups, standard_text


def test_a_group_read_by_itself_is_as_in_the_whole_file() -> None:
    whole = parse_groups(standard_text())

    assert [*standard_groups().items()] == [*whole.items()]


def test_a_name_that_is_no_group_is_a_key_error() -> None:
    assert "cabbage" not in standard_groups()
    with pytest.raises(KeyError):
        standard_groups()["cabbage"]
