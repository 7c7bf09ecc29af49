"""Worked examples for those who open a published snapshot themselves."""
