"""Ranking that fails closed; `lasersafe.fields` holds it."""

from lasersafe.fields import badness

__all__ = ["badness"]
