"""Plan and elevation to scale, from the records of a scene alone."""
