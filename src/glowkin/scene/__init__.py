"""Rendered photographs with known answers; no product room imports it."""
