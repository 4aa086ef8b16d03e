"""Set-up for the whole suite: the random-case profiles, and the record of the published checks."""

from __future__ import annotations

import gc
import os
import sys

from hypothesis import HealthCheck, settings

pytest_plugins = ("tests.assessed_once", "tests.published.record", "tests.soak_record")  # the first replaces `assess`

# What is compiled is kept, whatever the shell says: or each process that a test starts compiles the package anew.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
sys.dont_write_bytecode = False

# Refusals of files are in the language of whoever runs the tests; the tests say them in English.
for name in ("LC_ALL", "LC_MESSAGES", "LANG"):
    if os.environ.get(name, "C")[:2] == "de":
        os.environ[name] = "C.UTF-8"

# The gate draws the same cases on every machine; `make soak` draws many more, new ones each time.
settings.register_profile("gate", max_examples=50, derandomize=True, deadline=None, database=None, print_blob=True)
SOAK_EXAMPLES = int(os.environ.get("LASERSAFE_SOAK_EXAMPLES", "3000"))
settings.register_profile(
    "soak",
    max_examples=SOAK_EXAMPLES,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
settings.load_profile(os.environ.get("LASERSAFE_TEST_PROFILE", "gate"))


def pytest_collection_finish() -> None:
    """Look for what can be thrown away less often, and never among what was collected, which stays."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(20_000, 20, 20)
