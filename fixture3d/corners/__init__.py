"""What a model has to stand: blocks at the corners of its ranges, on the usual hole patterns, looked at from all sides.

The shipped models pass it in ``tests/test_models.py``, a user's own by ``models --test FOLDER``; the code is the same.
"""
