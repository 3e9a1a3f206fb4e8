"""Documents of quotes, read back by other programs."""
