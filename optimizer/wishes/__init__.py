"""What a person wants of a plan: pieces to keep, to leave out, or a place that should have one."""
