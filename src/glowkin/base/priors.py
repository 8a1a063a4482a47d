"""What is supposed when samples are set beside known forms and nothing else is said."""

from __future__ import annotations

PRIOR_OF_NONE = 0.5
"""How probable it is, before the photograph, that a sample is none of the forms."""
PRIOR_OF_MIXTURES = 0.25
"""The same of two forms mixed; the rest is the forms' alone."""
VARIATION = 0.004
"""How far batches of one form differ, one standard deviation in u' and in v' (common practice, no source)."""
SURE = 0.95
"""The probability that a verdict needs."""
