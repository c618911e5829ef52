"""Write the histories made blind: ``python make_blind.py OUT --seed 1 [--only poor]``; see blind/README.md."""

from blind.make import main

if __name__ == "__main__":
    main()
