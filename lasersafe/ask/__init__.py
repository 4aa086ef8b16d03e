"""What the commands answer: limits, reach, eyewear, cases, plans."""
