"""What all of the service is built on."""
