"""What a plan would do, before anything is spent: yards whose truth is known, planned and shot."""
