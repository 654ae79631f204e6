"""``python -m tunebook`` is the same as the command ``tunebook``."""

from tunebook.cli import main

if __name__ == "__main__":
    main()
