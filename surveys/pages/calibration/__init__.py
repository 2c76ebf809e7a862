"""Pages of the calibration administrator: due dates, certificates, intervals, affected results."""
