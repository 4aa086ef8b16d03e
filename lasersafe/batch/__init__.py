"""Many cases at once: rows of an inventory or case files of a folder in, one row of the result for each out."""
