"""The dashboard: one page a task. It asks fleetwear and computes nothing itself."""
