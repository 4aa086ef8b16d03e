"""lasersafe: laser hazard zones, eyewear and barriers from one case file."""

__version__ = "0.1.0"
