"""Who may weld what, for how long, and on what evidence."""
