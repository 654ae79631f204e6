"""Exact searches for cheapest paths. Know no music."""
