"""The causes' records: one for each cause, in files by what they are about."""
