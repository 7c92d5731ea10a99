"""What surrounds every request: fast path, response cache, limits, failures, metrics, proxies."""
