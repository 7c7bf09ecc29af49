"""What people take away: tables in their own units, charts."""
