"""Results of a survey: its uncertainty, diagnosis, reduction of the log, and why a result changed."""
