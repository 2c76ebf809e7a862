"""The Django project: records of sites, pipes, instruments and surveys, and the API and pages over them."""
