"""The printed sheet: an assessment on paper. Reads `lasersafe.results.Assessment` and computes nothing."""

from lasersafe.sheet.document import render_sheet

__all__ = ["render_sheet"]
