"""Pieces and objects without the reader's proposals: for ``--reader off`` and for training."""
