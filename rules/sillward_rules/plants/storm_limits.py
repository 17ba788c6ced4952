"""What wind and rain containers outdoors stand, where neither their group nor their grower says it.

A storm throws down what hangs or stands, whatever grows in it, so this goes by the holder.
"""

from collections.abc import Mapping
from types import MappingProxyType

from sillward_rules.plants.limits import Limit, Limits
from sillward_rules.plants.plant import Holder

HUNG_GUST_HIGH_M_S = 10.0
"""The strongest gust at the plant that hangs or is mounted [m/s]. Judgement: the drag of a gust of
10 m/s on a leafy basket (0.1 m2, 2 kg) is a third of its weight, and it swings by 17 degrees. In a
courtyard with the default shelter that is a gust of 20 m/s over open land, at which public wind
warnings begin (from memory: advisory of the US weather service from 46 mph, 20.6 m/s)."""

STOOD_GUST_HIGH_M_S = 14.0
"""The same of a pot that stands [m/s]. Judgement: a shrub of 0.4 m2 whose middle is at 0.8 m turns
over a pot of 18 kg and 28 cm across at about 15 m/s (drag coefficient 0.6 for leaves); a small one
stands more, a tall one less."""

RAIN_HIGH_MM = 15.0
"""The most rain in an hour [mm]. Judgement: it beats leaves down, fills crowns and washes bark out.
From memory: the German weather service warns of heavy rain from 15 mm in an hour."""


def _limits(gust_m_s: float, way: str) -> Limits:
    return Limits(
        gust_high=Limit(gust_m_s, f"containers outdoors: judgement, of what {way}"),
        rain_high=Limit(RAIN_HIGH_MM, "containers outdoors: judgement, a cloudburst"),
    )


_HUNG, _STOOD = _limits(HUNG_GUST_HIGH_M_S, "hangs"), _limits(STOOD_GUST_HIGH_M_S, "stands")

STORM_LIMITS: Mapping[Holder, Limits] = MappingProxyType(
    {"basket": _HUNG, "mount": _HUNG, "moss": _STOOD, "pot": _STOOD}
)
"""The limits of a container by what it grows in or on."""
