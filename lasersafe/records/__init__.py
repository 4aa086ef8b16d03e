"""The records of an assessment, each in its part; `lasersafe.results` is all of them together."""
