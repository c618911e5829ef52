"""Write the histories of small rooms: ``python make_small.py OUT --seed 1 [--only poor]``; see small/README.md."""

from small.make import main

if __name__ == "__main__":
    main()
