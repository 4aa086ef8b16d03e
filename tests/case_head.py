"""What every case file says before its lasers, for tests that write the rest themselves."""

HEAD = """\
title = "T"
place = "Hall"
dates = "today"
review_by = 2026-11-14
[in_charge]
assessor = "A"
laser_safety_officer = "B"
operator = "C"
venue = "D"
"""
