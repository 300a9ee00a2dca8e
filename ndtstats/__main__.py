"""``python -m ndtstats`` is the same as the ``ndtstats`` command."""

from ndtstats.cli.root import main

if __name__ == "__main__":
    main()
