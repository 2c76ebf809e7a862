"""The office's pages: jobs of a week, and results to look at before their report goes out."""
