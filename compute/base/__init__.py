"""What all of the physics is built on."""
