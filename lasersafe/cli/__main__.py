"""Run the command line: ``python -m lasersafe.cli``."""

from lasersafe.cli import main

main()
