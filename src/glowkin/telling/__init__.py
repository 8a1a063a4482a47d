"""Figures and the report, from records only."""
