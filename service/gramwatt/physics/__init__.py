"""Kernels shared by calculators: SI arrays in, SI arrays out. No web, no units library, no validation."""
