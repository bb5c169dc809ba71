"""``python -m pipeline.cli`` is the ``elbowroom`` command."""

from pipeline.cli.entry import main

if __name__ == "__main__":
    main()
