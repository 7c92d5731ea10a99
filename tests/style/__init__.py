"""Check the wording of documents, comments, docstrings, texts and names against ``rules.toml``."""
