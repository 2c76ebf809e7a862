"""Pages of the calibration admin: what is due, certificates, intervals, results in doubt."""
