"""A clinic's log in, standardised visits out, nothing lost on the way."""
