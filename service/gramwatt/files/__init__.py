"""Table files on disk: formats by file name, atomic output, Parquet."""
