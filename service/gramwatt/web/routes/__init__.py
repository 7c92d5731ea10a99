"""Routes of the API, a blueprint a module."""
