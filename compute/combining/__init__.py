"""Results of several surveys combined: components, paths, sums and differences, time alignment."""
