"""One question of a user, one file, one table."""
