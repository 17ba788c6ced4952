"""Whether a time zone goes with the place: a sign that is missing, and places near the equator."""

import pytest

from sillward.config.zone_places import missing_sign

MENDOZA = "America/Argentina/Mendoza"


@pytest.mark.parametrize(
    ("latitude", "longitude", "zone", "wrong"),
    [
        (-32.9, -68.9, MENDOZA, None),
        (32.9, -68.9, MENDOZA, "latitude"),
        (-32.9, 68.9, MENDOZA, "longitude"),
        (33.9, 151.0, "Australia/Sydney", "latitude"),
        (-37.0, -175.0, "Pacific/Auckland", None),  # east of the date line, by a little
        (43.0, -8.0, "Europe/Madrid", None),
        (39.0, 75.0, "Asia/Shanghai", None),
        (-22.5, 17.0, "Africa/Lagos", None),  # named after a place near the equator
        (-22.0, -43.0, "Brazil/East", None),  # an old name, of no place
        (-32.9, -68.9, "UTC", None),
        (-32.9, 68.9, "Etc/GMT+3", None),
    ],
)
def test_a_sign_that_is_missing_is_found(
    latitude: float, longitude: float, zone: str, wrong: str | None
) -> None:
    assert missing_sign(latitude, longitude, zone) == wrong
