"""The lab side: formula masses, yields, and weighings beside the light."""
