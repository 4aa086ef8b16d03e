"""What-if questions about one laser with one set-up: tables over changed inputs, and the input that fits a distance."""
