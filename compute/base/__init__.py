"""Units, errors, messages and helpers of the physics."""
