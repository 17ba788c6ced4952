"""The salts at the roots of a plant in words, and as plain types."""

from typing import Any

from sillward.wording.voice import Voice
from sillward_rules.physics.water_film import VELAMEN_FILM
from sillward_rules.planners.scene.salts import SaltNow
from sillward_rules.plants.salt_balance import salt_g_m2


def told(salt: SaltNow | None, voice: Voice) -> str:
    """Return how much salt is at the roots; empty where it is not counted.

    "EC 1.2 ± 0.3 mS/cm when wet, limit 2 mS/cm; nothing was known at the start"
    """
    if salt is None:
        return ""
    area = ""
    if salt.root == "air":
        area = f" ({float(salt_g_m2(salt.ec, VELAMEN_FILM.depth_mm)):.2f} g/m2 of velamen)"
    assumed = "; nothing was known at the start, so half the limit was assumed"
    return (
        f"EC {salt.ec:.1f} ± {salt.doubt:.1f} mS/cm when wet{area}, "
        f"limit {voice.bound(salt.limit.value, 'mS/cm')}{assumed if salt.assumed else ''}"
    )


def document(salt: SaltNow | None) -> dict[str, Any]:
    """Return the same as plain types; nothing where it is not counted."""
    if salt is None:
        return {}
    return {
        "salt": {
            "ec": round(salt.ec, 2),
            "doubt": round(salt.doubt, 2),
            "limit": salt.limit.value,
            "origin": salt.limit.origin,
            "assumed_start": salt.assumed,
            "roots_in": salt.root,
        }
    }
