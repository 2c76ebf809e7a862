"""Library of media, materials and pipe sizes, each value with its source."""
