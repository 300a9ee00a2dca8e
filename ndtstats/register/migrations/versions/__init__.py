"""One module a step; ``revision`` is the number of the schema it leads to."""
