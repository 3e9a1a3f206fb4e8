"""Events of the quote desk on their way to the next system."""
