"""A study: one folder that keeps what was photographed, how it was measured, and what was concluded."""
