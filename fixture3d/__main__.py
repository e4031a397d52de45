"""``python -m fixture3d``."""

import sys

from fixture3d.cli import main

sys.exit(main())
