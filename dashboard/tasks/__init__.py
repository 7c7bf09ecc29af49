"""The pages, one a task."""
