"""Templates: what they do to texts."""

import pytest

from sillward.page.rendering import keep_units


@pytest.mark.parametrize(
    ("text", "kept"),
    [
        ("to 4.0 °C by 08:00", "to 4.0\xa0°C by 08:00"),
        ("92 % chance, wet for 3.8 h", "92\xa0% chance, wet for 3.8\xa0h"),
        ("gusts of 40 km/h, 45 min", "gusts of 40\xa0km/h, 45\xa0min"),
        ("6 hours, 5 plants, 3 minutes", "6 hours, 5 plants, 3 minutes"),
    ],
)
def test_a_number_stays_on_one_line_with_its_unit(text: str, kept: str) -> None:
    assert keep_units(text) == kept
