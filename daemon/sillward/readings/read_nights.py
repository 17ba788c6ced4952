"""The lows that were read at the spots, night by night, from the ledger."""

from collections.abc import Sequence

import numpy as np

from sillward.ledger import Ledger
from sillward_rules.readings.hourly_readings import Quantity
from sillward_rules.readings.night_lows import NightLow, lows_at_spot
from sillward_rules.readings.skill import ReadLows
from sillward_rules.weather.site import Site
from sillward_rules.weather.spot import Spot


def lows_read_at(ledger: Ledger, site: Site, spot: str) -> list[NightLow]:
    """Return the low of each night that was read at a spot, in order."""
    temperature = Quantity.TEMPERATURE
    by_hand = [
        (reading.at, reading.value, reading.night)
        for reading in ledger.readings.by_hand(site.name, spot)
        if reading.quantity is temperature
    ]
    return lows_at_spot(site, ledger.readings.of_spot(site.name, spot, temperature), by_hand)


def lows_outdoors(ledger: Ledger, site: Site, spots: Sequence[Spot]) -> tuple[list[str], ReadLows]:
    """Return the names of the spots outdoors where lows were read, and their lows."""
    outdoors = [spot.name for spot in spots if not spot.indoors]
    of_spots = {name: lows_read_at(ledger, site, name) for name in outdoors}
    read = {name: lows for name, lows in of_spots.items() if lows}
    nights = sorted({low.night.toordinal() for lows in read.values() for low in lows})
    row = {night: number for number, night in enumerate(nights)}
    low_c = np.full((len(nights), len(read)), np.nan)
    for column, lows in enumerate(read.values()):
        for low in lows:
            low_c[row[low.night.toordinal()], column] = low.low_c
    return list(read), ReadLows(np.array(nights, dtype=np.int64), low_c)
