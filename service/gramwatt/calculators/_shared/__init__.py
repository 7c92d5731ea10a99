"""What several calculators declare alike: input fields, cautions, tables of parts, packs and flights."""
