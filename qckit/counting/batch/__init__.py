"""Many photos: processes, computers, what is kept on the way, and the tables at the end."""
