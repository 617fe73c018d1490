"""`python -m inspector` is the command `inspector`."""

from inspector.cli import main

if __name__ == "__main__":
    main(prog_name="inspector")
