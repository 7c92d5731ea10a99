"""Pages of the contract for developers: an index of operations, and a page for each operation and each schema."""
