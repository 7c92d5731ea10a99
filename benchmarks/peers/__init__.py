"""What the service is measured against: other programs that do the same work, or less."""
