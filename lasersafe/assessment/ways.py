"""The ways for light to reach a person, and the plain way that each is answered like."""

from __future__ import annotations

SCENE_WAYS = (
    "direct", "missing the target", "through the target", "mirror", "convex mirror", "concave mirror", "scatter",
    "mirror then scatter", "fibre broken", "optic lost", "aided viewing",
)  # fmt: skip
BASE_WAY = {
    "direct": "direct", "missing the target": "direct", "through the target": "direct", "mirror": "mirror",
    "convex mirror": "mirror", "concave mirror": "mirror", "scatter": "scatter", "mirror then scatter": "scatter",
    "fibre broken": "direct", "optic lost": "direct", "aided viewing": "direct",
}  # fmt: skip
NO_AID = "the case states that this person uses no binoculars, telescope or viewfinder (aided is false)"
