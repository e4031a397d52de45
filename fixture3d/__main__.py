"""``python -m fixture3d``."""

import sys

try:
    from fixture3d.cli import main
except KeyboardInterrupt:  # before anything has begun
    sys.exit(2)
sys.exit(main())
