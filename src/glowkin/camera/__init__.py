"""From three channels to CIE colour."""
