"""The day's page: what is due, what the counts say, what to start; as data, as HTML, on a terminal."""
