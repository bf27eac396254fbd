"""``python -m ergo``: the command line."""

from ergo.cli import main

if __name__ == "__main__":
    main()
