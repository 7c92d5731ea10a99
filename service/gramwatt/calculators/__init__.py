"""The calculators, one file each. The file's name is the name in URLs; nothing needs to be registered."""
