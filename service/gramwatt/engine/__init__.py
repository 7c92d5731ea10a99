"""Between what people send and what formulas take: units, columns, schemas, the one path, uncertainty, the answer."""
