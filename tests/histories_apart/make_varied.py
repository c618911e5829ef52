"""Write the histories of varied rooms: ``python make_varied.py OUT --seed 1 [--only poor]``; see varied/README.md."""

from varied.make import main

if __name__ == "__main__":
    main()
