"""Shared by the published checks: ``from tests.published.printed import printed``."""
