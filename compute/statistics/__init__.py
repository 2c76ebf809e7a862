"""Statistics: law of propagation, Monte Carlo, autocorrelation, straight lines."""
