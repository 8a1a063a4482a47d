"""What the measurements say: comparisons and time courses."""
