"""The study: what is written down of samples, lamps and events."""
