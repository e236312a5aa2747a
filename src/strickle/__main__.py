"""``python -m strickle`` is the command line."""

import sys

from strickle.cli import main

sys.exit(main())
