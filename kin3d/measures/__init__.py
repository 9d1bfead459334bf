"""What an engineer reads off a solved corner, one family of measures a file, listed in one table."""
