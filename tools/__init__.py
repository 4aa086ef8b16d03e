"""What keeps the project in order and is not shipped."""
