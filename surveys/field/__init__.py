"""The technician's pages: today's jobs, the set-up worksheet, the gauging of a wall, the survey with its log."""
