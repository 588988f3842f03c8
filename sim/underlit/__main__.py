"""`python -m underlit`: the same as the command `underlit`."""

import sys

from underlit.cli import main

sys.exit(main())
