"""One indicator family a module: what is counted, over whom, and how the unknown are shown."""
