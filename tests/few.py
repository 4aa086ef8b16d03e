"""Properties that draw fewer cases than the others, because each case costs more."""

from __future__ import annotations

from hypothesis import settings

USUAL = 100  # cases of a property in the suite


def few(examples: int) -> settings:
    """Return settings with so many cases in the suite, and as many times more in a soak as any other property has."""
    return settings(max_examples=max(1, round(examples * settings().max_examples / USUAL)))
