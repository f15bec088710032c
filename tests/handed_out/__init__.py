"""What the station hands out, read back by readers that are not ours and held against the database."""
