"""The OpenAPI contract, generated from the declarations, and the committed files that are served."""
