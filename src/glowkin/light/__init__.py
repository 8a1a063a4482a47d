"""From a file to linear light: the decoder, metadata, noise, means of regions."""
