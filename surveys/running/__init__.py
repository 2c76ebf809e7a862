"""What those who run the service look at: log lines, probes, figures. None of it tells of a person or gives away a secret."""
