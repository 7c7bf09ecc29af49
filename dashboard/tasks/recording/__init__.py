"""The parts of the page on which a visit is recorded."""
