"""The site's records: schema, store, import, export, history of corrections."""
