"""Pure colorimetry: observers, chromaticity, dominant wavelength, differences."""
