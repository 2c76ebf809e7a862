"""The technician's pages: today's jobs, the set-up worksheet, the wall measurement of a wall, the survey with its log."""
