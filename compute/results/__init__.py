"""Results of a survey: uncertainty, diagnosis, reduction of the log, and breakdown of changes."""
