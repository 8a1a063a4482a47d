"""Where the samples are, what stray light lies on them, which is which over time."""
