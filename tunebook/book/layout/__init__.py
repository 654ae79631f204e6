"""Blocks, flow, line and page breaks, placing."""
