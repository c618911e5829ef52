"""A new lot judged by its standard test, beside its label, the site's minimum and a reference lot."""
