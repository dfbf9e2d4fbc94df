"""Statistics on plain counts and times. Nothing here knows what is being counted."""
