"""Papermill runs, the HTML of the reports, the site's index page."""
